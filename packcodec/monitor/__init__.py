"""On the station, pure: detections and time in, records and actions out."""

from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.summariser import Refusal, Summariser
from packcodec.monitor.vocabulary import check_vocabulary
from packcodec.monitor.whole_log import Summary, summarise
from packcodec.monitor.worth import fit

__all__ = [
    "Detection",
    "Health",
    "Refusal",
    "Stretch",
    "Summariser",
    "Summary",
    "check_vocabulary",
    "fit",
    "summarise",
]
