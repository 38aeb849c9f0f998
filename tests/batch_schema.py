"""The small schema with batches in place of summaries, in both codings."""

from functools import cache
from typing import Literal

from small_schema import SPECIES, TOML

from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema import read_schema

BATCHES = """
[message.summaries]
code = 1
fields = [
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject", optional = true },
  { name = "hours", kind = "list", least = 1, most = 16, fields = [
    { name = "after", kind = "duration", step_s = 3600, high_s = 86400, since = "previous" },
    { name = "watched", kind = "duration", step_s = 60, high_s = 3600, optional = true },
    { name = "left_out", kind = "integer", low = 0, high = 15, above = "clamp" },
    { name = "people", kind = "integer", low = 0, high = 15, above = "clamp", optional = true },
    { name = "dropped", kind = "integer", low = 0, high = 255, above = "clamp" },
    { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
    { name = "rows", kind = "list", least = 0, most = 4, fields = [
      { name = "species", kind = "species" },
      { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
      { name = "most", kind = "integer", low = 1, high = 16, above = "clamp" },
      { name = "first", kind = "duration", step_s = 60, high_s = 3540, optional = true },
    ] },
  ] },
]
[message.sightings]
code = 3
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 15811200, beyond = "reject", optional = true },
  { name = "seen", kind = "list", least = 1, most = 40, fields = [
    { name = "after", kind = "duration", step_s = 60, high_s = 86400, since = "previous" },
    { name = "species", kind = "species" },
    { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
    { name = "confidence", kind = "scaled", low = 0, high = 1, step = 0.01 },
  ] },
]
"""  # noqa: E501

_HEAD, _, _REST = TOML.partition("[message.summary]")
_, _, _HEALTH = _REST.partition("[message.health]")
BATCHED = f"{_HEAD}{BATCHES}[message.health]{_HEALTH}"


@cache
def batch_codec(coding: Literal["fixed", "modelled"] = "fixed", *changes: tuple[str, str]) -> Codec:
    """The codec, with every (old, new) of its TOML replaced; each must be there."""
    toml = BATCHED.replace("[policy]", "[policy]\nbatch_min = 300").replace(
        "version = 1", f'version = 1\ncoding = "{coding}"'
    )
    for old, new in changes:
        assert old in toml, old
        toml = toml.replace(old, new)
    return Codec(compile_layout(read_schema(toml, SPECIES)))
