"""A detection log that another process writes: each line once, over restarts and power cuts.

The log is CSV with a header, as for `packcodec summarise`. How far it was read is kept with what
was made of it, in one piece, so that a restart neither skips a line nor counts one twice. A file
that became shorter was begun anew, and is read from its start.
"""

from pathlib import Path

from packcodec.edge.files import NAME_READABLE
from packcodec.edge.logs import read_detections
from packcodec.edge.station import Station
from packcodec.errors import LogError

LONGEST_LINE = 65_536
# So that a long log does not keep the station from its radio.
MOST_AT_ONCE = 1000


class Follower:
    """Feeds one log to one station; `refused` holds the last line that could not be read."""

    def __init__(self, path: str | Path, station: Station) -> None:
        self._path = Path(path)
        self._station = station
        self._at = station.mark if type(station.mark) is int else 0
        self._head: str | None = None
        self.refused: LogError | None = None

    def feed(self) -> int:
        """Take what was written since, up to a thousand lines; how many that was.

        A file that is not there yet is empty. Raises LogError for one that cannot be read, or is
        without the columns it needs.
        """
        try:
            with self._path.open("rb") as file:
                if self._path.stat().st_size < self._at:
                    self._at, self._head = 0, None
                if self._head is None and not self._read_head(file.readline(LONGEST_LINE)):
                    return 0
                file.seek(self._at)
                for fed in range(MOST_AT_ONCE):
                    line = file.readline(LONGEST_LINE)
                    if not line.endswith(b"\n") and len(line) < LONGEST_LINE:
                        return fed
                    self._at += len(line)
                    self._take(line)
        except FileNotFoundError:
            return 0
        except OSError as error:
            problem = f"cannot be read: {error.strerror}"
            raise LogError(problem, place=str(self._path), remedy=NAME_READABLE) from None
        return MOST_AT_ONCE

    def _read_head(self, line: bytes) -> bool:
        if not line.endswith(b"\n"):
            return False
        head = line.decode("utf-8-sig", "replace")
        read_detections([head], self._station.codec.schema, str(self._path))
        self._head, self._at = head, max(self._at, len(line))
        return True

    def _take(self, line: bytes) -> None:
        station, head = self._station, self._head or ""
        try:
            found = read_detections(
                [head, line.decode("utf-8", "replace")], station.codec.schema, str(self._path)
            )
        except LogError as error:
            place = f"{self._path} before byte {self._at}"
            self.refused = LogError(error.problem, place=place, remedy=error.remedy)
            return
        for row in found.rows:
            if row.station == station.station:
                station.seen(
                    row.label, row.at, row.confidence, row.individuals, row.image, mark=self._at
                )
