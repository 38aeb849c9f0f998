"""What emitted MicroPython spares: heap where frames are made, numbers past 31 bits anywhere."""

import ast
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from drawn_models import with_models
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from micropython_program import INTERPRETER, write
from strategies import schemas, values_for
from whole_values import nested

from packcodec.codec import to_json
from packcodec.emit import emit
from packcodec.emit.whole import whole
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Layout
from packcodec.schema import read_schema
from packcodec.schema.model import Field, ListOf, Schema, Time

VECTORS = Path(__file__).parents[2] / "spec" / "vectors"
# The others hold values of more than 30 bits.
SMALL = [
    *("lists", "optional", "quantities", "species", "times", "check-crc32"),
    *("modelled/sightings", "modelled/hours", "modelled/models"),
]
MOST = 1 << 30

_MEASURE = """
import gc, sys
sys.path.insert(0, FOLDER)
import MODULE as m
out = bytearray(340)
def measured(frame, *rest):
    frame(out, *rest)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    for _ in range(20):
        frame(out, *rest)
    print(gc.mem_alloc() - before)
    gc.enable()
"""


def opened(name: str) -> tuple[Layout, dict[str, Any]]:
    vectors = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))
    models = vectors.get("models", "")
    schema = read_schema(vectors["schema"], vectors["species"], models_toml=models)
    return compile_layout(schema), vectors


def rows_of(schema: Schema, records: list[Any]) -> Iterator[tuple[str, list[Any]]]:
    for record in records:
        message = next(each for each in schema.messages if each.name == record["message"])
        yield message.name, nested(schema, message.fields, record["values"])


@pytest.mark.skipif(INTERPRETER is None, reason="no micropython here")
@pytest.mark.parametrize("name", SMALL)
def test_a_frame_takes_no_heap(name: str, tmp_path: Path) -> None:
    layout, vectors = opened(name)
    write(layout, tmp_path)
    source = _MEASURE.replace("FOLDER", repr(str(tmp_path)))
    source = source.replace("MODULE", f"{layout.schema.name}_micro")
    for message, row in rows_of(layout.schema, [each["read"] for each in vectors["valid"]]):
        source += f"measured(m.frame_{message}, 3, 5, {row})\n"
    (tmp_path / "measure.py").write_text(source, encoding="utf-8")
    command = [str(INTERPRETER), str(tmp_path / "measure.py")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.stdout.split() == ["0"] * len(vectors["valid"]), done.stderr


REPAIRED = """
[repair]
messages = ["m"]
window = 8
stride = 2
every = 4
symbols = 3
"""


def repaired() -> Layout:
    vectors = json.loads((VECTORS / "quantities.json").read_text(encoding="utf-8"))
    return compile_layout(read_schema(vectors["schema"] + REPAIRED, vectors["species"]))


@pytest.mark.skipif(INTERPRETER is None, reason="no micropython here")
def test_repair_symbols_take_no_heap(tmp_path: Path) -> None:
    layout = repaired()
    _, vectors = opened("quantities")
    ((_, row),) = rows_of(layout.schema, [vectors["valid"][0]["read"]])
    write(layout, tmp_path)
    source = _MEASURE.replace("FOLDER", repr(str(tmp_path)))
    source = source.replace("MODULE", f"{layout.schema.name}_micro")
    source += "ring = m.Ring()\ndef framed(out, row):\n"
    source += "    m.frame_m(out, 3, ring.next, row, ring)\n"
    source += f"measured(framed, {row})\nprint(ring.held)\n"
    (tmp_path / "measure.py").write_text(source, encoding="utf-8")
    command = [str(INTERPRETER), str(tmp_path / "measure.py")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.stdout.split() == ["0", "16"], done.stderr


def test_repair_symbols_need_no_more_than_31_bits() -> None:
    layout = repaired()
    _, vectors = opened("quantities")
    ((_, row),) = rows_of(layout.schema, [vectors["valid"][0]["read"]])
    module, large = watched_module(layout)
    ring, out = module["Ring"](), bytearray(340)
    for sequence in range(60):
        n = module["frame_m"](out, 11, sequence, row, ring)
        module["decode"](bytes(out[:n]))
    assert large == []


class Watched(ast.NodeTransformer):
    """Every operation of a module handed to `watch`."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        return _watched(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return _watched(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        self.generic_visit(node)
        target = ast.parse(ast.unparse(node.target), mode="eval").body
        value = _watched(ast.BinOp(target, node.op, node.value))
        return ast.Assign([node.target], value)


def _watched(node: ast.expr) -> ast.expr:
    return ast.Call(ast.Name("watch", ast.Load()), [node], [])


def watched_module(layout: Layout) -> tuple[dict[str, Any], list[Any]]:
    """The emitted module, running here, and the figures in it that 31 bits do not hold."""
    large: list[Any] = []

    def watch(value: Any) -> Any:
        if isinstance(value, int) and not -MOST <= value < MOST:
            large.append(value)
        return value

    ((name, text),) = emit(layout, "micropython").items()
    tree = Watched().visit(ast.parse(text))
    found: dict[str, Any] = {"watch": watch}
    exec(compile(ast.fix_missing_locations(tree), name, "exec"), found)
    return found, large


@pytest.mark.parametrize("name", SMALL)
def test_no_figure_needs_more_than_31_bits(name: str) -> None:
    layout, vectors = opened(name)
    module, large = watched_module(layout)
    out = bytearray(340)
    valid = vectors["valid"]
    for each, (message, row) in zip(
        valid, rows_of(layout.schema, [each["read"] for each in valid]), strict=True
    ):
        read = each["read"]
        n = module[f"frame_{message}"](out, read["station"], read["sequence"] or 0, row)
        assert out[:n].hex() == each["frame"]
        decoded = module["decode"](bytes(out[:n]))
        module[f"frame_{message}"](out, read["station"], read["sequence"] or 0, decoded[3])
        assert out[:n].hex() == each["frame"]
    for each in vectors["invalid"]:
        with pytest.raises(module["Refused"]):
            module["decode"](bytes.fromhex(each["frame"]))
    assert large == []


def narrow(schema: Schema, fields: tuple[Field, ...]) -> bool:
    """Whether values and codes have 30 bits at most, and their sums with a range's end."""
    for field in fields:
        number = whole(field)
        reach = [number.low, number.high, number.high - number.low] if number else []
        if isinstance(field, Time):
            reach.append(field.span_s)
        if max([codes_of(field, schema), *map(abs, reach)]) >= MOST // 2:
            return False
        if isinstance(field, ListOf) and not narrow(schema, field.fields):
            return False
    return True


@settings(max_examples=settings.default.max_examples // 4, phases=(Phase.explicit, Phase.generate))
@given(
    schema=schemas(coding="modelled", check="auto", most_messages=1).filter(
        lambda schema: narrow(schema, schema.messages[0].fields)
    ),
    data=st.data(),
    seed=st.integers(0, 1 << 30),
)
def test_no_figure_needs_more_than_31_bits_unless_a_range_does(
    schema: Schema, data: st.DataObject, seed: int
) -> None:
    schema = with_models(schema, seed)
    codec = Codec(compile_layout(schema))
    message = schema.messages[0]
    module, large = watched_module(codec.layout)
    out = bytearray(340)
    values = data.draw(values_for(schema, message))
    record = {"message": message.name, "values": to_json(values)}
    frame = codec.encode(record, station=0, sequence=0)
    row = nested(schema, message.fields, values)
    n = module[f"frame_{message.name}"](out, 0, 0, row)
    assert out[:n] == frame
    assert large == []
