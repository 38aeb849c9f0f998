"""What emitted C costs a Cortex-M0+: bytes of code, instructions a message, bytes of stack.

Fixed coding on the messages of bench_speed, modelled coding on a packet of sightings by the
default tables. Compiled by arm-none-eabi-gcc -Os, run under qemu-system-arm with every instruction
logged, and the payload that comes out compared with ours. Each section says what it skips for
want of a tool.
"""

import re
import shutil
import subprocess
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Literal

from bench_speed import ROW_WIDTHS, ROWS, WIDTHS, integers, verdict

from packcodec.codec import PayloadCodec
from packcodec.emit import emit
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema.model import (
    Duration,
    FrameWidths,
    Integer,
    ListOf,
    Message,
    Schema,
    Species,
    SpeciesCode,
    SpeciesTable,
    Time,
)

COMPILER, EMULATOR = "arm-none-eabi-gcc", "qemu-system-arm"
OPTIONS = ("-std=c99", "-mcpu=cortex-m0plus", "-mthumb", "-Os", "-ffunction-sections")
TRUSTING = "-DBENCH_TRUST_VALUES"

# What must hold of a message of 12 fields and 116 bits: bytes of code and instructions a message
# that straight-line code of a careful hand, which tests no range, takes on the same compiler.
MOST_BYTES, MOST_INSTRUCTIONS, MOST_STACK = 148, 74, 128

# What was hoped for of modelled coding: bytes of code and of tables, instructions a detection.
HOPED = {"code": 1024, "tables": 2560, "instructions": 300, "stack": MOST_STACK}
TABLES = re.compile(r"[TG]\d+|KNOWN|KNOWN_COUNT|ODDS")
DETECTIONS = 20

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


_RUNTIME_NAMES = "reset begin finished say vectors report payload digits.0"
RUNTIME_NAMES = frozenset(_RUNTIME_NAMES.split())
NO_SPECIES = SpeciesTable((), 0)


@dataclass(frozen=True)
class Cost:
    """`own` is the encoding function alone, `code` with all it calls; instructions a message.

    `stack` is the sum of all functions that are linked, which no path takes at once.
    """

    own: int
    code: int
    tables: int
    instructions: int | None
    stack: int


def main(arguments: list[str]) -> int:
    """Print the table; 1 if a target is missed."""
    del arguments
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
    show_modelled(random)
    return 1 if missed else 0


def show_modelled(random: Random) -> None:
    """A packet of sightings in modelled coding, beside what was hoped for."""
    fields = (
        Time("at", 60, 172800),
        ListOf(
            "seen",
            (
                Duration("after", Fraction(60), Fraction(61380), since="previous"),
                SpeciesCode("species"),
                Integer("individuals", 1, 8, clamp_above=True),
            ),
            1,
            60,
        ),
    )
    species = tuple(
        Species(code, f"label {code}", f"Genus species{code}", "animal", "summary")
        for code in range(64)
    )
    layout = layout_of(
        Message("report", 0, fields), coding="modelled", species=SpeciesTable(species, 64)
    )
    seen = [
        {
            "after": 60 * random.choice((0, 1, 1, 2, 3, 9)),
            "species": f"label {random.choice((3, 3, 3, 17, 41))}",
            "individuals": random.choice((1, 1, 2, 4)),
        }
        for _ in range(DETECTIONS)
    ]
    packed = (
        Codec(layout)
        .payloads["report"]
        .pack_values({"at": {"offset_s": 40000, "span_s": 172800}, "seen": seen})
    )
    rows = ", ".join(
        f"{{ {each['after']}, {str(each['species']).split()[1]}, {each['individuals']} }}"
        for each in seen
    )
    cost = measure(layout, f"40000, {DETECTIONS}, {{ {rows} }}", (), packed.hex())
    print(f"\nmodelled coding, {DETECTIONS} sightings of 64 species in {len(packed)} bytes")
    each = None if cost.instructions is None else cost.instructions // DETECTIONS
    for name, figure, hoped in (
        ("bytes of code", cost.code, HOPED["code"]),
        ("bytes of tables", cost.tables, HOPED["tables"]),
        ("instructions a detection", each, HOPED["instructions"]),
        ("bytes of stack, all functions", cost.stack, HOPED["stack"]),
    ):
        shown = "not run" if figure is None else f"{figure:6}"
        print(f"  {shown}  {name:<32} hoped for: {hoped}")


def show(title: str, cost: Cost, held: bool) -> int:
    """Print one line; how many targets it misses."""
    ran = "not run" if cost.instructions is None else f"{cost.instructions} instructions"
    line = f"  {title:<30} {cost.code:5} bytes ({cost.own} its own), {ran}, stack {cost.stack}"
    limits = [(cost.stack, MOST_STACK)]
    if held:
        limits += [(cost.code, MOST_BYTES), (cost.instructions or 0, MOST_INSTRUCTIONS)]
        line += f"  to hold: {MOST_BYTES} bytes, {MOST_INSTRUCTIONS} instructions "
        line += verdict(max(figure / limit for figure, limit in limits), 1)
    print(line)
    return sum(figure > limit for figure, limit in limits)


def layout_of(
    message: Message,
    coding: Literal["fixed", "modelled"] = "fixed",
    species: SpeciesTable = NO_SPECIES,
) -> Layout:
    return compile_layout(
        Schema(
            name="bench",
            version=1,
            epoch=datetime(2027, 4, 1, tzinfo=UTC),
            coding=coding,
            frame=FrameWidths(8, 2, 4, 10, "crc24"),
            messages=(message,),
            species=species,
        )
    )


def measure(layout: Layout, initialiser: str, options: tuple[str, ...], right: str) -> Cost:
    """Compile, run and count; stops if the payload is not the right one."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        for file, text in emit(layout, "c").items():
            (folder / file).write_text(text)
        (folder / "main.c").write_text(RUNTIME % initialiser)
        (folder / "link.ld").write_text(LINKER)

        def run(*command: str) -> str:
            done = subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)
            return done.stdout

        run(COMPILER, *OPTIONS, *options, "-fstack-usage", "-c", "bench.c")
        linked = ("-nostartfiles", "-Wl,--gc-sections", "-Wl,-Tlink.ld", "-Wl,-ereset")
        run(COMPILER, *OPTIONS, *linked, "main.c", "bench.o", "-o", "bench.elf")
        symbols = sizes(run("arm-none-eabi-nm", "-S", "bench.elf"))
        called = {name: size for name, (_, size) in symbols.items() if name not in RUNTIME_NAMES}
        tables = sum(size for name, size in called.items() if TABLES.fullmatch(name))
        stack = {
            words[0].rpartition(":")[2]: int(words[1])
            for words in (
                line.split("\t") for line in (folder / "bench.su").read_text().split("\n")
            )
            if len(words) > 1
        }
        return Cost(
            own=symbols["bench_encode_report"][1],
            code=sum(called.values()) - tables,
            tables=tables,
            instructions=count(folder, symbols, right) if shutil.which(EMULATOR) else None,
            stack=sum(stack.get(name, 0) for name in called),
        )


def sizes(listing: str) -> dict[str, tuple[int, int]]:
    """{symbol: (address, bytes)} of an nm -S listing."""
    found = {}
    for line in listing.splitlines():
        words = line.split()
        if len(words) == 4:
            found[words[3].split(".constprop")[0]] = (int(words[0], 16), int(words[1], 16))
    return found


def count(folder: Path, symbols: dict[str, tuple[int, int]], right: str) -> int:
    """Instructions between begin and finished, the call's own and its setting up left out."""
    log = folder / "executed"
    done = subprocess.run(
        (EMULATOR, "-M", "microbit", "-nographic", "-semihosting-config", "enable=on,target=native",
         "-singlestep", "-d", "exec,nochain", "-D", log, "-kernel", folder / "bench.elf"),
        check=False, capture_output=True, text=True, timeout=20,
    )  # fmt: skip
    said = (done.stdout + done.stderr).strip()
    if said != right:
        raise SystemExit(f"the payload is {said!r} and ought to be {right}")
    trace = [int(each, 16) for each in re.findall(r"\[\w+/(\w+)/", log.read_text())]
    first = trace.index(symbols["begin"][0])
    last = trace.index(symbols["finished"][0])
    at, size = symbols["reset"]
    return sum(not at <= address < at + size for address in trace[first:last]) - 2


if __name__ == "__main__":
    raise SystemExit(main([]))
