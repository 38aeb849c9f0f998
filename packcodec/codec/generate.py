"""Layout steps → the Python source of a message's pack and unpack.

A payload is held as one integer. Every run of fixed-width values becomes one expression: packing
multiplies and adds constants, unpacking masks and shifts, and no step looks at a single bit.
`packcodec.codec.compiled` runs the source.
"""

from packcodec.codec.places import Source, pack_place, plus, value_expression
from packcodec.layout.model import Count, Group, Place, Presence, Repeat, Run, Step, When
from packcodec.schema.model import Duration, Integer, Scaled

# What CPython holds in one digit of an integer; smaller numbers are all equally fast.
DIGIT_BITS = 30
PADS = tuple((1 << bits) - 1 for bits in range(8))


def pack_source(body: Group, source: Source, name: str, *, as_bytes: bool) -> None:
    """Add `def name(*values)`: to the payload's bytes, or to (integer, bits) for a frame."""
    rigid = body.rigid_bits
    arguments = [source.variable(f.name, "a") for f in body.fields]
    source.add(0, f"def {name}({', '.join(arguments)}):")
    source.add(1, "try:")
    pad = -rigid % 8 if as_bytes and rigid is not None else 0
    if rigid is None:
        fixed = sum(step.width for step in body.steps if isinstance(step, Run))
        source.add(2, f"n = {fixed}")
    names = {f.name: argument for f, argument in zip(body.fields, arguments, strict=True)}
    for at, step in enumerate(body.steps):
        _pack_step(step, source, 2, names, at > 0, pad)
    if not as_bytes:
        # A float that passed its range test must not leave here: | refuses it.
        source.add(2, f"return x | 0, {'n' if rigid is None else rigid}")
    elif rigid is None:
        source.add(2, "return (x << (-n & 7)).to_bytes((n + 7) >> 3)")
    else:
        source.add(2, f"return x.to_bytes({(rigid + 7) // 8})")
    source.add(1, "except MISFITS:")
    source.add(2, "pass")
    source.add(1, f"return {name}(*settle(({' '.join(f'{a},' for a in arguments)})))")


def _pack_step(
    step: Step, source: Source, depth: int, names: dict[str, str], started: bool, pad: int
) -> None:
    match step:
        case Run():
            expression = _pack_run(step, source, depth, names, pad)
            if started:
                expression = f"x << {step.width} | ({expression})" if step.width else "x"
            source.add(depth, f"x = {expression}")
        case When():
            source.add(depth, f"if {names[step.field.name]} is not None:")
            for inner in step.steps:
                _pack_step(inner, source, depth + 1, names, True, 0)
                if isinstance(inner, Run):
                    source.add(depth + 1, f"n += {inner.width}")
        case Repeat():
            _pack_repeat(step, source, depth, names)


def _pack_repeat(step: Repeat, source: Source, depth: int, names: dict[str, str]) -> None:
    element, rows = step.element, names[step.field.name]
    inner = {f.name: source.variable(f"{step.path}[].{f.name}", "e") for f in element.fields}
    rigid = element.rigid_bits
    source.add(depth, f"for {', '.join(inner.values())}, in {rows}:")
    for each in element.steps:
        _pack_step(each, source, depth + 1, inner, True, 0)
        if rigid is None and isinstance(each, Run):
            source.add(depth + 1, f"n += {each.width}")
    if rigid:
        source.add(depth, f"n += {rigid} * {source.variable(step.path, 'k')}")


def _pack_run(run: Run, source: Source, depth: int, names: dict[str, str], pad: int) -> str:
    """The run as one sum; tests go before it, and what no bit depends on is folded together."""
    tests, terms, offset = [], [], 0
    for place, shift in zip(run.places, run.shifts(), strict=True):
        test, term, less = pack_place(place, source, depth, names[place.field.name])
        if test:
            tests.append(test)
        if place.width:
            shift += pad
            terms.append(term if shift == 0 else f"{term} * {1 << shift}")
            offset -= less << shift
        elif not test:
            source.add(depth, term)  # sent in no bit, but it must be a value all the same
    if tests:
        source.add(depth, f"if not ({' and '.join(tests)}):")
        source.add(depth + 1, "raise Misfit")
    if offset:
        terms.append(str(offset))
    return " + ".join(terms).replace("+ -", "- ") or "0"


def unpack_source(body: Group, source: Source, name: str, *, from_bytes: bool) -> None:
    """Add `def name(data)` or `def name(x, n)`: to a tuple of values in field order.

    The last n bits of x are the payload and 0 to 7 zero bits.
    """
    rigid = body.rigid_bits
    source.add(0, f"def {name}({'data' if from_bytes else 'x, n'}):")
    left = 0
    if from_bytes:
        if rigid is not None:
            left = -rigid % 8
            source.add(1, f"if len(data) != {(rigid + 7) // 8}:")
            source.add(2, f"raise wrong_length({(rigid + 7) // 8}, len(data))")
        source.add(1, "x = from_bytes(data)")
    values = _unpack_group(
        body, source, 1, left if from_bytes and rigid is not None else None, whole=from_bytes
    )
    if from_bytes and rigid is not None:
        if left:
            source.add(1, f"if x & {(1 << left) - 1}:")
            source.add(2, "raise nonzero_pad()")
    else:
        source.add(1, "if n:")
        source.add(2, "if n > 7:")
        source.add(3, "raise left_over(n)")
        source.add(2, f"if x & {source.constant(PADS)}[n]:")
        source.add(3, "raise nonzero_pad()")
    source.add(1, f"return {values}")


def _unpack_group(
    body: Group, source: Source, depth: int, left: int | None, *, whole: bool = False
) -> str:
    """Reads of a group; `left`, where given, is the constant number of bits after the payload.

    `whole`: x holds nothing but the payload, whose first run is still ahead.
    """
    values: dict[str, str] = {}
    for at, step in enumerate(body.steps):
        match step:
            case Run():
                _unpack_run(step, source, depth, values, left, whole=whole and at == 0)
            case When():
                name = step.field.name
                variable = source.variable(f"{id(body)}.{name}", "o")
                source.add(depth, f"{variable} = None")
                source.add(depth, f"if {values[f'presence {name}']}:")
                inner: dict[str, str] = {}
                for each in step.steps:
                    if isinstance(each, Run):
                        _unpack_run(each, source, depth + 1, inner, None)
                    else:
                        _unpack_repeat(each, source, depth + 1, inner)
                source.add(depth + 1, f"{variable} = {inner[name]}")
                values[name] = variable
            case Repeat():
                _unpack_repeat(step, source, depth, values)
    return f"({''.join(f'{values[f.name]}, ' for f in body.fields)})"


def _unpack_run(
    run: Run,
    source: Source,
    depth: int,
    values: dict[str, str],
    left: int | None,
    *,
    whole: bool = False,
) -> None:
    chunk, base, top = "x", left or 0, -1
    if left is None:
        chunk = source.variable(f"{id(run)}", "r")
        source.add(depth, f"n = 8 * len(data) - {run.width}" if whole else f"n -= {run.width}")
        source.add(depth, "if n < 0:")
        source.add(depth + 1, f"raise cut_short({source.constant(run.places[-1].path)}, -n)")
        if whole and len(run.places) == 1:
            chunk = "(x >> n)"
        else:
            source.add(depth, f"{chunk} = x >> n")
    if whole:
        top = run.width if left is None else left + run.width
    for place, shift in zip(run.places, run.shifts(), strict=True):
        _unpack_place(place, source, depth, chunk, shift + base, top, values)


def _unpack_place(
    place: Place,
    source: Source,
    depth: int,
    chunk: str,
    shift: int,
    top: int,
    values: dict[str, str],
) -> None:
    """`chunk` has nothing but zeros from bit `top` on."""
    code = _bits_of(chunk, shift, place.width, top)
    name = place.field.name
    if place.codes != 1 << place.width:
        variable = source.variable(place.path, "c")
        source.add(depth, f"{variable} = {code}")
        source.add(depth, f"if {variable} >= {place.codes}:")
        path = source.constant(place.path)
        source.add(depth + 1, f"raise out_of_range({path}, {variable}, {place.codes})")
        code = variable
    if isinstance(place, Presence):
        values[f"presence {name}"] = f"({code})"
        return
    if isinstance(place, Count):
        variable = source.variable(place.path, "k")
        source.add(depth, f"{variable} = {plus(code, place.field.least)}")
        values[f"count {name}"] = variable
        return
    values[name] = value_expression(place, source, depth, code)


def _bits_of(chunk: str, shift: int, width: int, top: int) -> str:
    """`width` bits of `chunk`. Masking first is the faster but near the top of a long number."""
    mask = (1 << width) - 1
    if not width:
        return "0"
    if shift == 0:
        return chunk if width == top else f"{chunk} & {mask}"
    if shift + width == top:
        return f"{chunk} >> {shift}"
    if top > DIGIT_BITS and 4 * (shift + width) > 3 * top:
        return f"{chunk} >> {shift} & {mask}"
    return f"({chunk} & {mask << shift}) >> {shift}"


def _unpack_repeat(step: Repeat, source: Source, depth: int, values: dict[str, str]) -> None:
    rows, count = source.variable(step.path, "l"), values[f"count {step.field.name}"]
    source.add(depth, f"{rows} = []")
    values[step.field.name] = rows
    rigid = step.element.rigid_bits
    if not rigid:
        source.add(depth, f"for _ in range({count}):")
        element = _unpack_group(step.element, source, depth + 1, None)
        source.add(depth + 1, f"{rows}.append({element})")
        return
    at, last = source.variable(step.path, "s"), source.variable(step.path, "m")
    source.add(depth, f"{last} = n - {rigid}")
    source.add(depth, f"n -= {rigid} * {count}")
    source.add(depth, "if n < 0:")
    source.add(depth + 1, f"raise cut_short({source.constant(step.path)}, -n)")
    source.add(depth, f"for {at} in range({last}, n - 1, -{rigid}):")
    source.add(depth + 1, f"{at} = x >> {at} & {(1 << rigid) - 1}")
    run = step.element.steps[0]
    assert isinstance(run, Run)
    inner: dict[str, str] = {}
    for place, shift in zip(run.places, run.shifts(), strict=True):
        _unpack_place(place, source, depth + 1, at, shift, rigid, inner)
    element = "".join(f"{inner[f.name]}, " for f in step.element.fields)
    source.add(depth + 1, f"{rows}.append(({element}))")


def ordered_source(body: Group, source: Source, name: str) -> None:
    """Add `def name(values)`: a dict with every field, as a tuple in field order."""
    source.add(0, f"def {name}(values):")
    source.add(1, f"if len(values) != {len(body.fields)}:")
    source.add(2, "raise Misfit")
    source.add(1, f"return {_ordered(body, 'values', source)}")


def _ordered(body: Group, values: str, source: Source) -> str:
    elements = {step.field.name: step.element for step in _repeats(body)}
    items = []
    for field_ in body.fields:
        item = f"{values}[{field_.name!r}]"
        if field_.name in elements:
            row = source.variable(f"{id(body)}.{field_.name}", "d")
            inner = _ordered(elements[field_.name], row, source)
            size = len(elements[field_.name].fields)
            fits = f"(type({row}) is dict and len({row}) == {size}) or misfit()"
            listed = f"[{inner} for {row} in {item} if {fits}]"
            # An empty text or dict would pass for an empty list; the slow road says what is wrong.
            listed = f"{listed} if type({item}) is list else misfit()"
            item = f"None if {item} is None else {listed}" if field_.optional else listed
        elif isinstance(field_, Integer | Scaled | Duration):
            # True passes for 1 wherever Python reckons with it, but says nothing of how many.
            if isinstance(field_, Integer) and not field_.optional:
                item = f"v_ if type(v_ := {item}) is int else whole(v_)"
            else:
                item = f"misfit() if (v_ := {item}) is True or v_ is False else v_"
        items.append(item)
    return f"({''.join(f'{item}, ' for item in items)})"


def named_source(body: Group, source: Source, name: str) -> None:
    """Add `def name(values)`: a tuple in field order as a dict with every field."""
    source.add(0, f"def {name}(values):")
    source.add(1, f"return {_named(body, 'values', source)}")


def _named(body: Group, values: str, source: Source) -> str:
    elements = {step.field.name: step.element for step in _repeats(body)}
    items = []
    for at, field_ in enumerate(body.fields):
        item = f"{values}[{at}]"
        if field_.name in elements:
            row = source.variable(f"{id(body)}.{field_.name}", "d")
            listed = f"[{_named(elements[field_.name], row, source)} for {row} in {item}]"
            item = f"None if {item} is None else {listed}" if field_.optional else listed
        items.append(f"{field_.name!r}: {item}")
    return f"{{{', '.join(items)}}}"


def _repeats(body: Group) -> list[Repeat]:
    steps = [inner for step in body.steps for inner in _inner(step)]
    return [step for step in steps if isinstance(step, Repeat)]


def _inner(step: Step) -> tuple[Step, ...]:
    return step.steps if isinstance(step, When) else (step,)
