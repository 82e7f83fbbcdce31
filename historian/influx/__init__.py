"""The InfluxDB store: a line's samples on a server that several readers share.

Needs the extra ``influx``. Writes go to ``/api/v2/write`` through influxdb-client, reads are InfluxQL over
``/query``. What is kept there, for any other reader of that server:

- measurement ``sample``, a point a sample at its source time: tags ``line``, ``path`` and ``clock`` (clock
  epoch); fields ``value`` (float; only where the quality is not bad and there is a number), ``quality`` (the
  OPC UA StatusCode whole, integer), ``arrival`` (UTC ns, integer), ``number`` (of arrival of its frame,
  integer), ``form`` (integer: 0 no value, 1 ``value`` holds it, 2 and 3 plus and minus infinity, 4 ``held``
  holds it) and ``held`` (float: the number that came with a bad quality). So an average over ``value`` never
  takes a bad sample for a good one. ``form`` is written with every sample because points are merged field by
  field: it says whether the ``value`` of an older write still counts.
- measurement ``frame``, a point a frame (or several, ``part`` 0 to ``parts`` - 1, because a text field holds
  64 KB): tags ``line`` and ``part``; fields ``number`` (of arrival), ``arrival``, ``clock``, ``samples``,
  ``first_time`` and ``last_time`` (source times inside, UTC ns), ``parts``, ``body`` (base64 of zlib of a row
  body, see ``historian.embedded.rows``). Its time is the arrival, made to rise by at least 1 ns a frame.
  Replay reads these: they keep overwritten samples and the order of arrival.
- measurement ``tag``, a point a tag at each registration and once a day: tags ``line`` and ``path``; fields
  ``number`` and ``body`` (JSON).

Delivery is at least once, and a point that comes again is the same point: nothing is doubled.
"""

from historian.influx.delivery import Delivery
from historian.influx.server import Place, ServerAway
from historian.influx.store import InfluxStore

__all__ = ["Delivery", "InfluxStore", "Place", "ServerAway"]
