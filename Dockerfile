# One image for `meltledger run` and `meltledger serve`; an environment of its own, not root.
FROM python:3.11-slim AS build
WORKDIR /src
COPY pyproject.toml README.md LICENSE ./
COPY requirements requirements
COPY collector collector
COPY dashboard dashboard
COPY historian historian
COPY meltledger meltledger
COPY process process
COPY rules rules
COPY simulator simulator
COPY trials trials
RUN python -m venv /opt/meltledger \
 && grep -E '^(pip|setuptools)==' requirements/dev.lock > /tmp/build.lock \
 && /opt/meltledger/bin/pip install --no-cache-dir -r /tmp/build.lock \
 && /opt/meltledger/bin/pip install --no-cache-dir -c requirements/dev.lock --no-build-isolation '.[influx]'

FROM python:3.11-slim
RUN useradd --uid 10001 --create-home meltledger \
 && mkdir -p /var/lib/meltledger \
 && chown meltledger /var/lib/meltledger
COPY --from=build /opt/meltledger /opt/meltledger
ENV PATH=/opt/meltledger/bin:$PATH PYTHONUNBUFFERED=1
USER 10001
VOLUME /var/lib/meltledger
EXPOSE 8050
ENTRYPOINT ["meltledger"]
CMD ["--help"]
