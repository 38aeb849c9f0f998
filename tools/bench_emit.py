"""What emitted C costs a Cortex-M0+: bytes of code, instructions a message, bytes of stack.

    python tools/bench_emit.py [LOG.csv[.gz] ...]

Fixed coding on the messages of bench_speed; modelled coding on full frames of sightings, of the
demonstration's log and each LOG, with tables learned as bench_size does. Compiled by
arm-none-eabi-gcc -Os, run under qemu-system-arm with every instruction logged, and the payload
that comes out compared with ours. Code is all that is linked for encoding, the compiler's own
functions included. Each section says what it skips for want of a tool.
"""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from bench_size import DEMO, demo_animals
from bench_speed import ROW_WIDTHS, ROWS, WIDTHS, integers, verdict
from size_common import payload_of
from size_sightings import elements_of, trained
from size_streams import Stream, log_stream

from packcodec.codec import PayloadCodec
from packcodec.codec.modelled.tree import Tree
from packcodec.emit import emit
from packcodec.emit.whole import whole
from packcodec.frame.fill import batches
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema.model import Field, FrameWidths, ListOf, Message, Schema, SpeciesTable, Time

COMPILER, EMULATOR = "arm-none-eabi-gcc", "qemu-system-arm"
OPTIONS = ("-std=c99", "-mcpu=cortex-m0plus", "-mthumb", "-Os", "-ffunction-sections")
TRUSTING = "-DBENCH_TRUST_VALUES"

# What must hold of a message of 12 fields and 116 bits: bytes of code and instructions a message
# that straight-line code of a careful hand, which tests no range, takes on the same compiler.
MOST_BYTES, MOST_INSTRUCTIONS, MOST_STACK = 148, 74, 128

# What was asked of modelled coding; of code and instructions, as above, where values are trusted.
ASKED = {
    "bytes of code": 1024,
    "bytes of tables": 2560,
    "instructions a detection": 300,
    "bytes of stack": MOST_STACK,
}
TABLES = re.compile(r"T\d+")
BODY_BYTES, FRAMES = 51, 24
# Bytes of a models file: sums in C take twice as much, and 2.5 KiB were asked.
LEARNED_BYTES = 1250

# Cortex-M0 boots from a vector table; semihosting (bkpt 0xAB) prints and ends the run.
RUNTIME = r"""
#include "bench.h"
static const struct bench_report report = { %s };
static uint8_t payload[512];
static void say(char letter)
{
    register unsigned call __asm__("r0") = 3;
    register const char *text __asm__("r1") = &letter;
    __asm__ volatile("bkpt 0xAB" : "+r"(call) : "r"(text) : "memory");
}
__attribute__((noinline)) void begin(void) { __asm__ volatile("nop"); }
__attribute__((noinline)) void finished(void) { __asm__ volatile("nop"); }
void reset(void)
{
    static const char digits[] = "0123456789abcdef";
    size_t bits = 0;
    begin();
    int result = bench_encode_report(&report, payload, &bits);
    finished();
    for (size_t i = 0; result == 0 && i < (bits + 7) / 8; i++) {
        say(digits[payload[i] >> 4]);
        say(digits[payload[i] & 15]);
    }
    register unsigned call __asm__("r0") = 0x18;
    register unsigned why __asm__("r1") = 0x20026;
    __asm__ volatile("bkpt 0xAB" : : "r"(call), "r"(why));
    for (;;) { }
}
__attribute__((section(".vectors"), used)) static void (*const vectors[2])(void) = {
    (void (*)(void))0x20004000, reset };
"""
LINKER = """
SECTIONS {
  .text 0 : { KEEP(*(.vectors)) *(.text*) *(.rodata*) }
  .bss 0x20000000 (NOLOAD) : { *(.bss*) *(.data*) }
}
"""


_RUNTIME_NAMES = "reset begin finished say vectors report sightings payload digits.0"
RUNTIME_NAMES = frozenset(_RUNTIME_NAMES.split())


@dataclass(frozen=True)
class Cost:
    """`own` is the encoding function alone, `code` with all it calls; instructions a message.

    `stack` is as deep as a run went, 0 where there was none.
    """

    own: int
    code: int
    tables: int
    instructions: int
    stack: int


def main(arguments: list[str]) -> int:
    """Print the table; 1 if a target is missed."""
    if shutil.which(COMPILER) is None:
        print(f"emitted C is left out: no {COMPILER} here (apt install gcc-arm-none-eabi)")
        return 0
    if shutil.which(EMULATOR) is None:
        print(f"instructions are left out: no {EMULATOR} here (apt install qemu-system-arm)")
    random = Random(12)
    twelve = tuple(random.randrange(1 << width) for width in WIDTHS)
    rows = [tuple(random.randrange(1 << width) for width in ROW_WIDTHS) for _ in range(ROWS)]
    report = Message("report", 0, integers("f", WIDTHS))
    listed = Message("report", 0, (ListOf("rows", integers("g", ROW_WIDTHS), 0, 15),))
    initial = ", ".join(map(str, twelve))
    nested = f"{ROWS}, {{ {', '.join('{ ' + ', '.join(map(str, row)) + ' }' for row in rows)} }}"
    print(f"\nemitted C on a Cortex-M0+, {COMPILER} -Os")
    missed = 0
    for title, message, values, initialiser, options, held in (
        ("12 fields, values trusted", report, twelve, initial, (TRUSTING,), True),
        ("12 fields, every range tested", report, twelve, initial, (), False),
        ("list of 8, values trusted", listed, (rows,), nested, (TRUSTING,), False),
        ("list of 8, every range tested", listed, (rows,), nested, (), False),
    ):
        layout = layout_of(message)
        right = PayloadCodec(layout, layout.messages[0]).pack(*values)
        cost = measure(layout, initialiser, options, right.hex())
        missed += show(title, cost, held)
    logs = [log_stream(DEMO / "detections.csv", demo_animals())]
    for stream in (*logs, *(log_stream(Path(path)) for path in arguments)):
        missed += show_modelled(stream)
    return 1 if missed else 0


def show_modelled(stream: Stream) -> int:
    """Full frames of sightings in modelled coding; how many figures are missed."""
    codec = trained(stream, LEARNED_BYTES)
    payload = payload_of(codec)
    limit = BODY_BYTES + codec.layout.header_bits // 8 + codec.layout.check.octets
    frames = [
        record.values
        for station in elements_of(stream.measured)
        for record in list(batches(codec, "sightings", station, limit))[:-1]
    ][:: max(1, len(stream.measured) // 50 // FRAMES)][:FRAMES]
    fields = payload.message.message.fields
    missed = 0
    for title, options, held in (
        ("values trusted", (TRUSTING,), True),
        ("every range tested", (), False),
    ):
        costs = [
            measure(
                codec.layout,
                ", ".join(initialiser(fields, payload.tree(values))),
                options,
                payload.pack_values(values).hex(),
            )
            for values in frames
        ]
        detections = sum(len(values["seen"]) for values in frames)
        print(
            f"\nmodelled coding, {stream.name}: {len(frames)} frames of {BODY_BYTES} bytes, "
            f"{detections / len(frames):.1f} sightings each, {title}"
        )
        each = sum(cost.instructions for cost in costs) // detections
        for name, figure, asked in (
            ("bytes of code", max(cost.code for cost in costs), held),
            ("bytes of tables", costs[0].tables, True),
            ("instructions a detection", each, held),
            ("bytes of stack", max(cost.stack for cost in costs), True),
        ):
            most = ASKED[name]
            said = f" asked: {most:5}  {verdict(figure, most)}" if asked else ""
            print(f"  {figure:6}  {name:<26}{said}")
            missed += asked and figure > most
    return missed


def initialiser(fields: tuple[Field, ...], tree: Tree) -> Iterator[str]:
    """The members of a struct of emitted C, from the codes of fields that are all there."""
    for field, code in zip(fields, tree, strict=True):
        number = whole(field)
        if isinstance(field, ListOf):
            assert isinstance(code, list)
            rows = (f"{{ {', '.join(initialiser(field.fields, row))} }}" for row in code)
            yield f"{len(code)}, {{ {', '.join(rows)} }}"
            continue
        assert isinstance(code, int)
        if isinstance(field, Time):
            yield str(code * field.step_s)
        else:
            yield str(number.low + code * number.step if number else code)


def show(title: str, cost: Cost, held: bool) -> int:
    """Print one line; how many targets it misses."""
    ran = f"{cost.instructions} instructions" if cost.instructions else "not run"
    line = f"  {title:<30} {cost.code:5} bytes ({cost.own} its own), {ran}, stack {cost.stack}"
    limits = [(cost.stack, MOST_STACK)]
    if held:
        limits += [(cost.code, MOST_BYTES), (cost.instructions, MOST_INSTRUCTIONS)]
        line += f"  to hold: {MOST_BYTES} bytes, {MOST_INSTRUCTIONS} instructions "
        line += verdict(max(figure / limit for figure, limit in limits), 1)
    print(line)
    return sum(figure > limit for figure, limit in limits)


def layout_of(message: Message) -> Layout:
    return compile_layout(
        Schema(
            name="bench",
            version=1,
            epoch=datetime(2027, 4, 1, tzinfo=UTC),
            coding="fixed",
            frame=FrameWidths(8, 2, 4, 10, "crc24"),
            messages=(message,),
            species=SpeciesTable((), 0),
        )
    )


def measure(layout: Layout, initialiser: str, options: tuple[str, ...], right: str) -> Cost:
    """Compile, run and count; stops if the payload is not the right one."""
    (message,) = layout.messages
    with TemporaryDirectory() as name:
        folder = Path(name)
        for file, text in emit(layout, "c").items():
            (folder / file).write_text(text)
        runtime = RUNTIME.replace("report", message.name) % initialiser
        (folder / "main.c").write_text(runtime)
        (folder / "link.ld").write_text(LINKER)

        def run(*command: str) -> str:
            done = subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)
            return done.stdout

        run(COMPILER, *OPTIONS, *options, "-c", "bench.c")
        linked = ("-nostartfiles", "-Wl,--gc-sections", "-Wl,-Tlink.ld", "-Wl,-ereset")
        run(COMPILER, *OPTIONS, *linked, "main.c", "bench.o", "-o", "bench.elf")
        symbols = sizes(run("arm-none-eabi-nm", "-S", "bench.elf"))
        called = {name: size for name, (_, size) in symbols.items() if name not in RUNTIME_NAMES}
        tables = sum(size for name, size in called.items() if TABLES.fullmatch(name))
        ran = count(folder, symbols, right) if shutil.which(EMULATOR) else (0, 0)
        return Cost(
            own=symbols[f"bench_encode_{message.name}"][1],
            code=sum(called.values()) - tables,
            tables=tables,
            instructions=ran[0],
            stack=ran[1],
        )


def sizes(listing: str) -> dict[str, tuple[int, int]]:
    """{symbol: (address, bytes)} of an nm -S listing."""
    found = {}
    for line in listing.splitlines():
        words = line.split()
        if len(words) == 4:
            found[words[3].split(".constprop")[0]] = (int(words[0], 16), int(words[1], 16))
    return found


def count(folder: Path, symbols: dict[str, tuple[int, int]], right: str) -> tuple[int, int]:
    """Instructions between begin and finished, and the stack they took below their caller's."""
    log = folder / "executed"
    done = subprocess.run(
        (EMULATOR, "-M", "microbit", "-nographic", "-semihosting-config", "enable=on,target=native",
         "-singlestep", "-d", "exec,cpu,nochain", "-D", log, "-kernel", folder / "bench.elf"),
        check=False, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    said = (done.stdout + done.stderr).strip()
    if said != right:
        raise SystemExit(f"the payload is {said!r} and ought to be {right}")
    trace = [
        (int(at, 16), int(stack, 16))
        for at, stack in re.findall(r"\[\w+/(\w+)/.*?R13=(\w+)", log.read_text(), re.DOTALL)
    ]
    addresses = [address for address, _ in trace]
    first = addresses.index(symbols["begin"][0])
    last = addresses.index(symbols["finished"][0])
    at, size = symbols["reset"]
    callers = [stack for address, stack in trace[first:last] if at <= address < at + size]
    within = [stack for address, stack in trace[first:last] if not at <= address < at + size]
    return len(within) - 2, max(callers) - min(within)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
