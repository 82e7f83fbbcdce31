#!/bin/sh
# Run once by the image of InfluxDB 2, after it made the bucket: lets InfluxQL ask for the bucket by its name.
set -eu
influx v1 dbrp create \
  --org "$DOCKER_INFLUXDB_INIT_ORG" \
  --bucket-id "$DOCKER_INFLUXDB_INIT_BUCKET_ID" \
  --db "$DOCKER_INFLUXDB_INIT_BUCKET" \
  --rp autogen \
  --default
