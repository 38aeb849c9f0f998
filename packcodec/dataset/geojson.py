"""The dataset on a map: GeoJSON (RFC 7946, read), longitude first, WGS 84."""

import json
from typing import Any

from packcodec.dataset.check import check
from packcodec.dataset.days import station_days
from packcodec.dataset.model import Dataset, Deployment
from packcodec.dataset.tables import utc_text


def geojson(data: Dataset) -> str:
    """One point a deployment, with its effort and each species' visits.

    Raises LogError where the dataset must not be published.
    """
    check(data)
    days = station_days(data)
    features = []
    for home in data.deployments:
        own = [each for each in days if each.deployment == home.id]
        visits: dict[str, int] = {}
        for day in own:
            for label, told in day.visits.items():
                visits[label] = visits.get(label, 0) + told.value
        features.append(
            {
                "type": "Feature",
                "id": home.id,
                "geometry": {
                    "type": "Point",
                    "coordinates": [home.longitude, home.latitude],
                },
                "properties": _properties(home)
                | {
                    "watched_h": round(sum(day.watched_s for day in own) / 3600, 3),
                    "visits": dict(sorted(visits.items())),
                },
            }
        )
    collection = {"type": "FeatureCollection", "features": features}
    return json.dumps(collection, indent=2, ensure_ascii=False) + "\n"


def _properties(home: Deployment) -> dict[str, Any]:
    return {
        "deployment": home.id,
        "name": home.name,
        "location": home.location,
        "start": utc_text(home.start),
        "end": utc_text(home.end),
        "uncertainty_m": home.uncertainty_m,
        "coordinate_precision": home.coordinate_precision,
    }
