"""Places of a walk in MicroPython: rows of tables by what is known, and codes by those rows."""

from typing import Any

from packcodec.codec.modelled.coder import TOTAL
from packcodec.codec.modelled.history import HOUR_ROWS, KINS, RANKS
from packcodec.codec.modelled.tables import Classes
from packcodec.emit.micropython_encode import TAKEN, Function
from packcodec.emit.micropython_tables import Constants
from packcodec.emit.micropython_values import code_of
from packcodec.emit.names import Names
from packcodec.schema.model import Field, ListOf

_NEAR = {"before": 0, "before_2": 1, "before_3": 2}
_TAKEN = TAKEN | {"c", "row", "rows", "at", "known", "here", "count", "seen", "centre", "rank"}
_TAKEN |= {"last_code", "previous_code", "code", "found", "first", "min", "max"}


class Places:
    """The places of a group's fields, as lines of its function and expressions in them.

    `asks_last` and `asks_previous` are whether any needs the last element of the same species, or
    the one before.
    """

    def __init__(
        self,
        constants: Constants,
        name: str,
        fields: tuple[Field, ...],
        said: dict[str, Any],
    ) -> None:
        self.constants = constants
        self.name = name
        self.fields = fields
        self.said = said
        self.species_at: int | None = said["species_at"]
        self.asks_last = False
        self.asks_previous = False
        self.function = Function(Names(_TAKEN))
        self.held = [self.function.variables.give(f.name) for f in fields]

    def code(self, at: int, given: str) -> str:
        """The expression of the code of a value that has been found sound."""
        entry = self.said["fields"][at]
        codes = entry["value"]["codes"] if "value" in entry else entry["codes"]
        return code_of(self.fields[at], codes, given)

    def place(self, place: dict[str, Any], said: str, depth: int) -> str:
        """The expression that sends or reads a code, after the lines that it needs before it.

        What it calls makes one more call at most: small ports have little stack.
        """
        codes, rows = place["codes"], place["rows"]
        if not rows:
            return alike(codes, said)
        for name in ("last", "previous"):
            if name in (*place["contexts"], place["around"]):
                self.function.add(depth, f"{name}_code = {self._of_element(name, place)}")
        row = "0"
        for name in place["contexts"]:
            size, kind = self._context(name, place)
            row = kind if row == "0" else f"({row}) * {size} + {kind}"
        around = place["around"] != "none"
        if around:
            centre = self._centre(place)
            self.function.add(depth, f"centre = {centre}")
            said = f"_fold({said}, centre, {codes})"
        classes = len(Classes(codes))
        chosen = f"{self.constants.sums(rows)}, {row}, {classes}"
        if classes == codes:
            code = f"_by(c, {chosen}, {said})"
        else:
            self.function.add(depth, f"code = {said}")
            self.function.add(depth, f"found = _by(c, {chosen}, _class(code, {codes}))")
            self.function.add(depth, "first = _first(found)")
            width = f"min(_first(found + 1), {codes}) - first"
            code = f"first + {alike(codes, 'code - first', width)}"
        return f"_unfold({code}, centre, {codes})" if around else code

    def _context(self, name: str, place: dict[str, Any]) -> tuple[int, str]:
        """How many kinds there are, and which of them it is."""
        match name:
            case "hour":
                return HOUR_ROWS, "_hour(c)"
            case "rank":
                return RANKS + 1, "here.rank"
            case "kin":
                assert self.species_at is not None
                kin = self.constants.named(bytes(place["kin"]))
                return KINS, f"_kin({kin}, {self.held[self.species_at]})"
        codes = place["before"][_NEAR[name]][1] if name in _NEAR else place["codes"]
        code = self._earlier(name, place)
        if codes <= 8:
            return codes + 1, f"{code} + 1"
        return 9, f"_bucket({code}, {codes}, {len(Classes(codes))})"

    def _centre(self, place: dict[str, Any]) -> str:
        """The code to fold around, or what stands in for an earlier one that is absent."""
        name, centre = place["around"], place["centre"]
        if name == "centre":
            return str(centre)
        code = self._earlier(name, place)
        codes = place["before"][_NEAR[name]][1] if name in _NEAR else place["codes"]
        last = place["codes"] - 1
        most = f"min({code}, {last})" if codes > place["codes"] else code
        return f"{most} if {code} >= 0 else {centre}" if centre else f"max({most}, 0)"

    def _earlier(self, name: str, place: dict[str, Any]) -> str:
        """The variable of a code said earlier, -1 where there is none."""
        if name not in _NEAR:
            return f"{name}_code"
        at: int = place["before"][_NEAR[name]][0]
        return self.held[at]

    def _of_element(self, name: str, place: dict[str, Any]) -> str:
        """The expression of a place's code in an element said earlier."""
        at, get = place["at"], place["get"]
        field = self.fields[at]
        if name == "last":
            self.asks_last = True
            element = "seen"
        else:
            self.asks_previous = True
            element = "here.previous"
        given, absent = f"{element}[{at}]", f"{element} is None"
        if get == "presence":
            code = f"0 if {given} is None else 1"
        elif isinstance(field, ListOf):
            code = f"len({given}) - {field.least}"
        else:
            code = self.code(at, given)
        if field.optional and get != "presence":
            absent = f"{absent} or {given} is None"
        return f"-1 if {absent} else {code}"


def alike(codes: int, said: str, of: str = "") -> str:
    """A number under `codes`, or under `of`, which is no more; calls in calls are kept few."""
    return f"{'_wide' if codes > TOTAL else '_alike'}(c, {of or codes}, {said})"
