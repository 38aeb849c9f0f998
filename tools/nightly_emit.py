"""The long look at emitted code: hundreds of schemas in every language, and a minute of fuzzing.

    python tools/nightly_emit.py [seconds of fuzzing [examples]]

The tests of tests/emit with hypothesis' long profile, then libFuzzer with sanitizers on the C of
the demo's schema, in both codings. A test takes an eighth or a quarter of `examples` schemas, for
each makes code; ten times `examples` arbitrary strings are judged by every decoder. Whatever is
missing (compilers, Node, interpreters) is said and skipped.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from packcodec.edge.files import load
from packcodec.emit import emit
from packcodec.emit.c_types import CNames
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "packcodec" / "edge" / "demo_data" / "schema.toml"
FUZZED_S, EXAMPLES = 60, 3000
NOTHING = """#include <stddef.h>
#include <stdint.h>
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) { return data == NULL && size; }
"""
OPTIONS = ("-std=c99", "-g", "-O1", "-fsanitize=fuzzer,address,undefined")


def main(arguments: list[str]) -> int:
    """0 if nothing was found."""
    seconds = int(arguments[0]) if arguments else FUZZED_S
    examples = int(arguments[1]) if len(arguments) > 1 else EXAMPLES
    layout = load(DEMO).layout
    modelled = compile_layout(replace(layout.schema, coding="modelled"))
    return differential(examples) | fuzz(layout, seconds) | fuzz(modelled, seconds)


def differential(examples: int) -> int:
    """The tests that draw schemas or bytes; pytest's exit code."""
    long = {"HYPOTHESIS_PROFILE": "long", "HYPOTHESIS_EXAMPLES": str(examples)}
    drawing = "any_schema or any_modelled or nearest_step or symbols or judged_alike"
    chosen = ("tests/emit", "-k", drawing, "-rs")
    command = (sys.executable, "-m", "pytest", *chosen)
    return subprocess.call(command, cwd=ROOT, env={**os.environ, **long})


def fuzz(layout: Layout, seconds: int) -> int:
    """Arbitrary bytes to every decoder; what one accepts must encode to the same bytes again."""
    if shutil.which("clang") is None:
        print("fuzzing is left out: no clang here (apt install clang libclang-rt-14-dev)")
        return 0
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "none.c").write_text(NOTHING)
        if subprocess.call(("clang", *OPTIONS, "none.c"), cwd=folder):
            print("fuzzing is left out: clang has no libFuzzer (apt install libclang-rt-14-dev)")
            return 0
        for file, text in emit(layout, "c").items():
            (folder / file).write_text(text)
        (folder / "fuzz.c").write_text("\n".join(harness(layout)) + "\n")
        sources = ("fuzz.c", f"{layout.schema.name}.c")
        if subprocess.call(("clang", *OPTIONS, *sources, "-o", "fuzz"), cwd=folder):
            return 1
        limits = (f"-max_total_time={seconds}", "-max_len=340", "-print_final_stats=1")
        return subprocess.call(("./fuzz", *limits), cwd=folder)


def harness(layout: Layout) -> Iterator[str]:
    """The first byte says which decoder gets the rest."""
    names = CNames(layout)
    call, macro = names.prefix, names.macro
    yield f'#include "{layout.schema.name}.h"'
    yield "#include <stdlib.h>"
    yield "#include <string.h>"
    yield "int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)"
    yield "{"
    yield "    uint8_t again[340] = {0};"
    yield "    size_t bits = 0;"
    yield "    if (size < 1) { return 0; }"
    yield "    const uint8_t chosen = *data++;"
    yield "    size--;"
    yield f"    struct {call}_header header = {{chosen, chosen, 0}};"
    yield f"    (void){call}_open(data, size, &header);"
    for number, message in enumerate(layout.schema.messages):
        tag = names.structs[message.name].tag
        decoded = f"{call}_decode_{message.name}(data, size, &m)"
        encoded = f"{call}_encode_{message.name}(&m, again, &bits)"
        yield f"    if (chosen % {len(layout.schema.messages)} == {number}) {{"
        yield f"        static struct {tag} m;"
        yield f"        (void){call}_unframe_{message.name}(data, size, &m);"
        yield f"        if ({decoded} == {macro}_OK &&"
        yield f"            ({encoded} != {macro}_OK || (bits + 7) / 8 > size ||"
        yield "             memcmp(again, data, (bits + 7) / 8) != 0)) {"
        yield "            abort();"
        yield "        }"
        yield "    }"
    yield "    return 0;"
    yield "}"


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
