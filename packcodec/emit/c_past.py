"""Functions over what is known of a message while it is coded, the same in both directions."""

from collections.abc import Iterator

from packcodec.codec.modelled.history import HOUR_ROWS, MOST_RECENT, NOON_ROW
from packcodec.emit.c_codes import divided
from packcodec.emit.c_header import INDENT, function, literal
from packcodec.emit.c_told import LAST, PREVIOUS, RANK, Part, Told

HOURS_ROW_S = 86400 // HOUR_ROWS


def shared(told: Told) -> Iterator[str]:
    """The functions over what is known of a message, for both directions."""
    past = f"struct {told.name}_past"
    if told.hours:
        yield from _hour(told, past)
    for part in told.parts:
        if part.species_at is not None:
            yield from _rank(told, part, past)
            yield from _note(part, past)
        if part.asks(LAST) and looks_back(told, part):
            yield from _look_back(told, part, LAST)
        if part.asks(PREVIOUS) and part.depth == 2:
            yield from _look_back(told, part, PREVIOUS)


def _hour(told: Told, past: str) -> Iterator[str]:
    seconds = "past->start_s"
    if told.clocked:
        by = f" * {literal(told.unit_s)}" if told.unit_s > 1 else ""
        seconds += f" + ({told.seconds})past->elapsed{by}"
    wide = told.seconds == "uint64_t"
    row = divided(f"({seconds})", HOURS_ROW_S, 0xFFFFFFFF, wide=wide)
    yield from ("", "/* Which eighth of the day it is; noon where nobody knows. */")
    yield f"static unsigned hour_of_{told.name}(const {past} *past)"
    yield "{"
    yield f"{INDENT}return past->started ? (unsigned)({row} & {HOUR_ROWS - 1}u) : {NOON_ROW}u;"
    yield "}"


def looks_back(told: Told, part: Part) -> bool:
    """Whether the last element of a species counts after four others have been seen."""
    return part.sets and min(part.most, told.capacity) > MOST_RECENT


def _rank(told: Told, part: Part, past: str) -> Iterator[str]:
    key = f"past->{part.key}"
    other = told.seen[part.key].species_of(f"{key}[k]")
    yield ""
    yield from function(
        f"Where a species stands among those seen last; {MOST_RECENT} for none of them.",
        f"unsigned rank_in_{part.key}(const {past} *past, uint32_t species)",
        [
            "unsigned k = 0;",
            "",
            f"while (k < {key}_count && {other} != species) {{",
            "    k++;",
            "}",
            f"return k < {key}_count ? k : {MOST_RECENT}u;",
        ],
    )


def _note(part: Part, past: str) -> Iterator[str]:
    key = f"past->{part.key}"
    noted = part.depth == 2 and part.sets
    known = ", unsigned known" if noted else ""
    yield ""
    yield from function(
        "An element has been said, of the species that was the k-th: now it is the first.",
        f"void note_{part.key}({past} *past, unsigned k, uint32_t now{known})",
        [
            *([f"{key}_rank = (uint8_t)(k + 1u);"] if part.asks(RANK) else []),
            f"if (k == {MOST_RECENT}u) {{",
            f"    k = {key}_count < {MOST_RECENT}u ? {key}_count++ : {MOST_RECENT - 1}u;",
            "}",
            "for (; k > 0u; k--) {",
            f"    {key}[k] = {key}[k - 1u];",
            "}",
            f"{key}[0] = now;",
            *(
                [
                    "if (known < KNOWN_COUNT) {",
                    f"    {key}_in[known] = (uint8_t)({key}_instances + 1u);",
                    "}",
                ]
                if noted
                else []
            ),
        ],
    )


def _look_back(told: Told, part: Part, what: str) -> Iterator[str]:
    """The function that finds the element before, of the same species or of any."""
    places = "ij"[: part.depth]
    inner = places[-1]
    arguments = "".join(f", size_t {place}" for place in places)
    tag = part.struct.tag
    yield ""
    if what == LAST:
        yield "/* The last element before of the same species. */"
    else:
        yield "/* The element before. */"
    yield f"static const struct {tag} *{what}_{part.key}("
    yield f"{INDENT}const struct {told.struct.tag} *message{arguments})"
    yield "{"
    if what == LAST:
        yield f"{INDENT}const unsigned species = {part.element(*places)}.{part.species};"
        yield ""
    depth = 1
    if part.depth == 2:
        yield f"{INDENT}for (;;) {{"
        depth = 2
    indent = INDENT * depth
    element = part.element(*places)
    if what == LAST:
        yield f"{indent}while ({inner}-- > 0u) {{"
        yield f"{indent}{INDENT}if ({element}.{part.species} == species) {{"
        yield f"{indent}{INDENT * 2}return &{element};"
        yield f"{indent}{INDENT}}}"
        yield f"{indent}}}"
    else:
        yield f"{indent}if ({inner}-- > 0u) {{"
        yield f"{indent}{INDENT}return &{element};"
        yield f"{indent}}}"
    if part.depth == 2:
        assert part.field is not None
        assert part.outer is not None
        outer, name = f"{part.outer.element('i')}.", part.field.name
        count = f"{outer}{part.outer.struct.counts[name]}"
        if part.field.optional:
            count = f"{outer}{part.outer.struct.presence[name]} ? {count} : 0u"
        yield f"{indent}if (i-- == 0u) {{"
        yield f"{indent}{INDENT}return NULL;"
        yield f"{indent}}}"
        yield f"{indent}j = {count};"
        yield f"{INDENT}}}"
    else:
        yield f"{INDENT}return NULL;"
    yield "}"
