"""What waits to be sent, on disk: a file of checked lines, one a change, rewritten now and then.

The first line is everything at the time, each further line a change made in one piece. A last line
without its line end is a write that the power cut, or that a full card refused: it was never
acknowledged, and goes. A whole line that does not verify is damage: it is passed over and counted,
and the rest holds.
"""

from collections.abc import Callable
from typing import Any

from packcodec.edge.disk import DurableFile, fields_of, line_of
from packcodec.monitor.again import Again
from packcodec.monitor.kept import Change, Kept

FORMAT = 1
# A rewrite costs two syncs and a rename, and both copies at once.
APPENDS_BEFORE_REWRITE = 512
TIDY_LEFT = 128
LASTING = ("known", "mark", "dropped")


class Journal:
    """`kept` is what was found at the start; `damaged` lines of it were lost.

    `layout` is the identity of the schema the records are packed by: those of another are lost.
    """

    def __init__(self, file: DurableFile, layout: bytes) -> None:
        """Raises OSError where the file cannot be read."""
        self._file = file
        self._layout = layout.hex()
        self._appends_left = 0
        self.damaged = 0
        self.kept = self._parse(file.read())

    def add(self, change: Change, all_of_it: Callable[[], Kept], *, tidy: bool = False) -> None:
        """Make a change durable. `all_of_it`, that change included, is for a rewrite.

        A rewrite takes longer than one sync; a caller that has the time says `tidy`, and does it
        before it must be. Raises OSError; then the next call writes everything anew.
        """
        try:
            if self._appends_left > (TIDY_LEFT if tidy else 0):
                self._appends_left -= 1
                self._file.append(line_of(change.to_json()))
            else:
                head = {"journal": FORMAT, "layout": self._layout, **all_of_it().to_json()}
                self._file.replace(line_of(head))
                self._appends_left = APPENDS_BEFORE_REWRITE
        except OSError:
            # Half a line may stand at the end now.
            self._appends_left = 0
            raise

    def _parse(self, data: bytes | None) -> Kept:
        *lines, _cut_off = (data or b"").split(b"\n")
        rows = [fields_of(line) for line in lines]
        self.damaged = rows.count(None)
        kept, layout = Kept(), self._layout
        for number, row in enumerate(rows):
            if row is None:
                continue
            if number == 0:
                kept, layout = self._head(row)
            else:
                kept.add(Change.of_json(row))
        if layout == self._layout:
            return kept
        self.damaged += len(kept.entries)
        # Records of another schema cannot be read, and its frames may have fewer bits for the
        # sequence; the clock, the caller's mark and the last missing list stand.
        state = {name: value for name, value in (kept.state or {}).items() if name in LASTING}
        return Kept((), kept.next_number, kept.last_sent, state, Again(kept.again.number))

    def _head(self, row: dict[str, Any]) -> tuple[Kept, str]:
        """Everything at the time, and the identity of its layout."""
        if row.get("journal") != FORMAT:
            self.damaged += 1
            return Kept(), self._layout
        return Kept.of_json(row), row["layout"]
