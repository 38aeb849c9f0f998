"""Functions over what is known of a message while it is coded, the same in both directions."""

from collections.abc import Iterator

from packcodec.codec.modelled.history import ACTIVE_STEPS, HOUR_ROWS, NOON_ROW
from packcodec.emit.c_codes import divided
from packcodec.emit.c_header import INDENT, function, literal
from packcodec.emit.c_told import ACTIVE, LAST, PREVIOUS, Part, Told

HOURS_ROW_S = 86400 // HOUR_ROWS


def shared(told: Told) -> Iterator[str]:
    """The functions over what is known of a message, for both directions."""
    past = f"struct {told.name}_past"
    if told.hours:
        yield from _hour(told, past)
    for part in told.parts:
        if part.species_at is not None:
            yield from _note(told, part, past)
        if part.asks(ACTIVE):
            yield from _active(told, part, past)
        if part.asks(LAST) and told.held(part) < min(part.most, told.capacity):
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


def _note(told: Told, part: Part, past: str) -> Iterator[str]:
    key, kind = f"past->{part.key}", told.seen[part.key].kind
    noted = part.depth == 2 and part.sets
    yield ""
    yield "/* An element has been said, of the species that was the k-th: now it is the first. */"
    known = ", unsigned known" if noted else ""
    yield f"static void note_{part.key}({past} *past, unsigned k, {kind} now{known})"
    yield "{"
    lines = [
        f"if (k == {told.held(part)}u) {{",
        "    k--;",
        f"}} else if (k == {key}_count) {{",
        f"    {key}_count++;",
        "}",
        "for (unsigned to = 0; to < k; to++) {",
        f"    const {kind} next = {key}[to];",
        "",
        f"    {key}[to] = now;",
        "    now = next;",
        "}",
        f"{key}[k] = now;",
    ]
    if part.depth == 2:
        lines.append(f"{key}_elements++;")
    if noted:
        lines.append("if (known < KNOWN_COUNT) {")
        lines.append(f"    {key}_in[known] = (uint8_t)({key}_instances + 1u);")
        lines.append("}")
    yield from (INDENT + line if line else "" for line in lines)
    yield "}"


def _active(told: Told, part: Part, past: str) -> Iterator[str]:
    reach = ACTIVE_STEPS * (int(part.said["clock_step_s"]) // told.unit_s)
    key, seen = f"past->{part.key}", told.seen[part.key]
    most = told.first(part)
    yield ""
    yield from function(
        f"How many species were seen a moment ago, {ACTIVE_STEPS} steps at most; up to {most}.",
        f"unsigned active_{part.key}(const {past} *past)",
        [
            f"const {told.moment} from = past->elapsed < {reach}u ? 0u : past->elapsed - {reach}u;",
            f"const {seen.kind} least = {seen.raised('from')};",
            f"const {seen.kind} *at = {key};",
            "unsigned k = 0;",
            "",
            f"while (k < {most}u && *at++ >= least) {{",
            "    k++;",
            "}",
            f"return k < {key}_count ? k : {key}_count;",
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
