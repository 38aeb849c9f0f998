"""Records → published form: exchange standards, statistics, tables; text and tables out.

Nothing is published before `protect` has been over it. What needs numpy and scipy stands in
`packcodec.dataset.rates`, `activity`, `diversity` and `season`.
"""

from packcodec.dataset.build import Heard, build
from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.check import check, problems
from packcodec.dataset.darwin import darwin_core
from packcodec.dataset.days import StationDay, station_days
from packcodec.dataset.frames import to_arrow, to_pandas
from packcodec.dataset.geojson import geojson
from packcodec.dataset.inputs import read_deployments, read_project
from packcodec.dataset.model import Dataset, Deployment, Project
from packcodec.dataset.protect import protect
from packcodec.dataset.tables import tables

__all__ = [
    "Dataset",
    "Deployment",
    "Heard",
    "Project",
    "StationDay",
    "build",
    "camtrap_dp",
    "check",
    "darwin_core",
    "geojson",
    "problems",
    "protect",
    "read_deployments",
    "read_project",
    "station_days",
    "tables",
    "to_arrow",
    "to_pandas",
]
