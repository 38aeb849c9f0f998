"""packcodec: wildlife records home by radio, in a few bytes, inside the law and the battery.

`load(path)` gives a codec; the stages beneath it are public too. Names are fetched when first
used, so that a monitor pays only for what it runs.
"""

from typing import TYPE_CHECKING

from packcodec.lazy import fetcher

__version__ = "0.1.0"

_HOMES = {
    "load": "packcodec.edge.files",
    "Codec": "packcodec.frame",
    "Record": "packcodec.codec",
    "AtLeast": "packcodec.codec",
    "AtMost": "packcodec.codec",
    "PartialTime": "packcodec.codec",
    "read_schema": "packcodec.schema",
    "compile_layout": "packcodec.layout",
    "compare_layouts": "packcodec.layout",
    "airtime": "packcodec.radio",
    "plan_budget": "packcodec.budget",
    "Monitor": "packcodec.monitor.engine",
    "Station": "packcodec.edge.station",
    "Base": "packcodec.base",
    "load_dataset": "packcodec.edge.dataset_source",
    "PackcodecError": "packcodec.errors",
}

__all__ = [
    "AtLeast",
    "AtMost",
    "Base",
    "Codec",
    "Monitor",
    "PackcodecError",
    "PartialTime",
    "Record",
    "Station",
    "__version__",
    "airtime",
    "compare_layouts",
    "compile_layout",
    "load",
    "load_dataset",
    "plan_budget",
    "read_schema",
]

if TYPE_CHECKING:
    from packcodec.base import Base
    from packcodec.budget import plan_budget
    from packcodec.codec import AtLeast, AtMost, PartialTime, Record
    from packcodec.edge.dataset_source import load_dataset
    from packcodec.edge.files import load
    from packcodec.edge.station import Station
    from packcodec.errors import PackcodecError
    from packcodec.frame import Codec
    from packcodec.layout import compare_layouts, compile_layout
    from packcodec.monitor.engine import Monitor
    from packcodec.radio import airtime
    from packcodec.schema import read_schema

__getattr__ = fetcher(__name__, _HOMES)
