"""On the station, pure: detections and time in, records and actions out.

Names are fetched when first used, so that a monitor pays only for what it runs.
"""

from typing import TYPE_CHECKING

from packcodec.lazy import fetcher

_NAMES = {
    "clock": "Clock Reading",
    "counter": "Counter",
    "engine": "Monitor",
    "inputs": "Detection Health Stretch",
    "kept": "Change Kept",
    "sender": "Due Send",
    "summariser": "Refusal Summariser",
    "vocabulary": "check_vocabulary",
    "whole_log": "Summary summarise",
    "worth": "fit",
}
_HOMES = {
    name: f"packcodec.monitor.{home}" for home, names in _NAMES.items() for name in names.split()
}

if TYPE_CHECKING:
    from packcodec.monitor.clock import Clock as Clock
    from packcodec.monitor.clock import Reading as Reading
    from packcodec.monitor.counter import Counter as Counter
    from packcodec.monitor.engine import Monitor as Monitor
    from packcodec.monitor.inputs import Detection as Detection
    from packcodec.monitor.inputs import Health as Health
    from packcodec.monitor.inputs import Stretch as Stretch
    from packcodec.monitor.kept import Change as Change
    from packcodec.monitor.kept import Kept as Kept
    from packcodec.monitor.sender import Due as Due
    from packcodec.monitor.sender import Send as Send
    from packcodec.monitor.summariser import Refusal as Refusal
    from packcodec.monitor.summariser import Summariser as Summariser
    from packcodec.monitor.vocabulary import check_vocabulary as check_vocabulary
    from packcodec.monitor.whole_log import Summary as Summary
    from packcodec.monitor.whole_log import summarise as summarise
    from packcodec.monitor.worth import fit as fit

__getattr__ = fetcher(__name__, _HOMES)
