"""Emitted C as a program: compiled with sanitizers, fed lines, answering lines.

    d MESSAGE STATION HEX [SEQUENCE]    → result [message station sequence value… [counter]]
    e MESSAGE STATION SEQUENCE value…   → result [hex of the frame]

MESSAGE is the code; values are flat (whole_values.py), and what follows MESSAGE counts where the
frame does not say it. A decoded frame is encoded again and must give the same bytes, else the
program says so and stops; not so sealed frames, nor any of a schema with repair.

    k KEY                               the key of every station, `-` for none, in hexadecimal
    x COUNTER                           the counter that is expected next
    r COUNTER AT SOURCES                the ring before that frame, `-` for none at all

without an answer. The cipher is that of aes_ccm.h; frames of a schema with repair pass one ring.
"""

import shutil
import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path

from packcodec.emit import emit
from packcodec.emit.c_types import CNames, Struct, type_of
from packcodec.errors import LayoutError
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema.model import Boolean, Field, ListOf, Schema

WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Wpedantic", "-Werror")
SANITIZERS = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
AES_CCM = Path(__file__).with_name("aes_ccm.h")
COMPILER = next((found for found in ("gcc", "clang") if shutil.which(found)), None)


def carried(schema: Schema) -> bool:
    """Whether 64 bits hold every value."""
    try:
        emit(compile_layout(schema), "c")
    except LayoutError:
        return False
    return True


def write(layout: Layout, folder: Path) -> Path:
    """The emitted files in `folder`; the path of the C source."""
    for name, text in emit(layout, "c").items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / f"{layout.schema.name}.c"


def build(layout: Layout, folder: Path, *options: str, compiler: str = "") -> Path:
    """The program of a layout, compiled with every warning an error."""
    source = write(layout, folder)
    main = folder / "main.c"
    main.write_text("\n".join(_main(layout)) + "\n", encoding="utf-8")
    program = folder / "program"
    command = [compiler or str(COMPILER), *options]
    subprocess.run([*command, *WARNINGS, "-c", source, "-o", folder / "codec.o"], check=True)
    subprocess.run([*command, "-c", main, "-o", folder / "main.o"], check=True, cwd=folder)
    subprocess.run([*command, folder / "codec.o", folder / "main.o", "-o", program], check=True)
    return program


def ask(program: Path | list[str], lines: Iterable[str]) -> list[str]:
    """The program's answer to every line."""
    command = program if isinstance(program, list) else [str(program)]
    done = subprocess.run(
        command, input="".join(f"{line}\n" for line in lines), capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-2000:] or done.stdout[-2000:]
    return done.stdout.splitlines()


_CIPHER = """
static bool has_key;
static uint8_t key[16];
static uint32_t expected_next;
static bool seal(void *c, uint32_t s, const uint8_t n[13], const uint8_t *a, size_t al,
                 uint8_t *o, size_t ol)
{ (void)c; (void)s; return has_key && ccm(key, TAG, n, a, al, o, ol, true); }
static bool unseal(void *c, uint32_t s, const uint8_t n[13], const uint8_t *a, size_t al,
                   uint8_t *o, size_t ol)
{ (void)c; (void)s; return has_key && ccm(key, TAG, n, a, al, o, ol, false); }
static uint32_t expected(void *c, uint32_t s) { (void)c; (void)s; return expected_next; }
"""


def _main(layout: Layout) -> Iterator[str]:
    schema, names = layout.schema, CNames(layout)
    call, macro = names.prefix, names.macro
    sealed, repair = layout.check.sealed, layout.repair is not None
    guards = ("&cipher, " if sealed else "") + ("passed, " if repair else "")
    header = "&h, " if repair else ""
    yield f'#include "{schema.name}.h"'
    yield "#include <inttypes.h>"
    yield "#include <stdio.h>"
    yield "#include <stdlib.h>"
    yield "#include <string.h>"
    if sealed:
        yield AES_CCM.read_text(encoding="utf-8")
        yield _CIPHER.replace("TAG", str(layout.check.octets))
        yield f"static const struct {call}_cipher cipher = {{seal, unseal, expected, NULL}};"
    if repair:
        yield f"static struct {call}_ring ring, *passed = &ring;"
    yield "static char *at;"
    yield "static uint64_t next(void) {"
    yield "    char *end; uint64_t value = *at == ' ' && at[1] == '-'"
    yield "        ? (uint64_t)strtoll(at, &end, 10) : strtoull(at, &end, 10);"
    yield "    if (end == at) exit(3);"
    yield "    at = end; return value; }"
    yield "static size_t unhex(uint8_t *octets) {"
    yield "    while (*at == ' ') at++;"
    yield '    size_t n = strspn(at, "0123456789abcdef") / 2;'
    yield "    for (size_t i = 0; i < n; i++, at += 2) {"
    yield "        char two[3] = {at[0], at[1], 0};"
    yield "        octets[i] = (uint8_t)strtoul(two, NULL, 16); }"
    yield "    return n; }"
    yield "static void hex(const uint8_t *octets, size_t length) {"
    yield '    for (size_t i = 0; i < length; i++) printf("%02x", octets[i]);'
    yield "}"
    for message in schema.messages:
        tag = names.structs[message.name].tag
        struct = names.structs[message.name]
        yield f"static void show_{message.name}(const struct {tag} *m) {{ (void)m;"
        yield from _show(message.fields, struct, schema, "m->", 1)
        yield "}"
        yield f"static void get_{message.name}(struct {tag} *m) {{"
        yield "    memset(m, 0, sizeof *m);"
        yield from _get(message.fields, struct, schema, "m->", 1)
        yield "}"
        most = names.frame_bytes[message.name]
        yield f"static void d_{message.name}(const uint8_t *f, size_t n, struct {call}_header h) {{"
        yield f"    static struct {tag} m; uint8_t *again = malloc({most}); size_t length = 0;"
        yield f"    int result = {call}_unframe_{message.name}(f, n, {header}&m);"
        yield '    printf("%d", result);'
        yield "    if (result == 0) {"
        yield '        printf(" %d %" PRIu32 " %" PRIu32, h.message, h.station, h.sequence);'
        yield f"        show_{message.name}(&m);"
        if sealed:
            yield '        printf(" %" PRIu32, h.counter);'
        if not guards:
            yield f"        if ({call}_frame_{message.name}(&m, h.station, h.sequence, again,"
            yield f"            {most}, &length) != 0 || length != n"
            yield "            || memcmp(f, again, n) != 0) {"
            yield '            fprintf(stderr, "not the same again\\n"); exit(4); }'
        yield "    }"
        yield '    (void)length; puts(""); free(again);'
        yield "}"
        yield f"static void e_{message.name}(uint32_t station, uint32_t sequence) {{"
        yield f"    static struct {tag} m; uint8_t *f = malloc({most}); size_t length = 0;"
        yield f"    get_{message.name}(&m);"
        yield f"    int r = {call}_frame_{message.name}(&m, station, sequence, {guards}f, {most},"
        yield "        &length);"
        yield '    printf("%d", r);'
        yield "    if (r == 0) { putchar(' '); hex(f, length); }"
        yield '    puts(""); free(f);'
        yield "}"
    yield "int main(void) {"
    yield "    static char line[1 << 20];"
    yield "    while (fgets(line, sizeof line, stdin)) {"
    yield "        at = line + 1;"
    if sealed:
        yield "        if (line[0] == 'x') { expected_next = (uint32_t)next(); continue; }"
        yield "        if (line[0] == 'k') { has_key = unhex(key) == 16; continue; }"
    if layout.repair:
        symbol = layout.repair.symbol_bytes
        yield "        if (line[0] == 'r') {"
        yield "            memset(&ring, 0, sizeof ring); passed = at[1] == '-' ? NULL : &ring;"
        yield "            if (passed) {"
        yield "                ring.next = (uint32_t)next(); ring.at = (uint32_t)next();"
        yield f"                ring.held = (uint32_t)(unhex(ring.sources) / {symbol}); }}"
        yield "            continue; }"
    yield "        uint8_t message = (uint8_t)next(); uint32_t station = (uint32_t)next();"
    yield "        if (line[0] == 'e') {"
    yield "            uint32_t sequence = (uint32_t)next();"
    yield "            switch (message) {"
    for message in schema.messages:
        code = names.message_codes[message.name]
        yield f"            case {code}: e_{message.name}(station, sequence); break;"
    yield "            default: exit(5); }"
    yield "            continue;"
    yield "        }"
    yield "        static uint8_t octets[1 << 16]; size_t n = unhex(octets);"
    yield "        uint8_t *f = memcpy(malloc(n + !n), octets, n);"
    yield f"        struct {call}_header h = {{message, station, 0}};"
    yield "        if (*at == ' ') h.sequence = (uint32_t)next();"
    yield f"        int result = {call}_open(f, n, {'&cipher, ' if sealed else ''}&h);"
    yield '        if (result != 0) { printf("%d\\n", result); free(f); continue; }'
    yield "        switch (h.message) {"
    for message in schema.messages:
        code = names.message_codes[message.name]
        yield f"        case {code}: d_{message.name}(f, n, h); break;"
    yield "        default: exit(6); }"
    yield "        free(f);"
    yield "    }"
    yield f"    return {macro}_OK;"
    yield "}"


def _show(
    fields: tuple[Field, ...], struct: Struct, schema: Schema, held: str, depth: int
) -> Iterator[str]:
    for field in fields:
        member = f"{held}{struct.members[field.name]}"
        if field.optional:
            has = f"{held}{struct.presence[field.name]}"
            yield f'printf(" %d", {has});'
            yield f"if ({has}) {{"
        if isinstance(field, ListOf):
            count = f"{held}{struct.counts[field.name]}"
            yield f'printf(" %d", {count});'
            yield f"for (size_t i{depth} = 0; i{depth} < {count}; i{depth}++) {{"
            inner = struct.elements[field.name]
            yield from _show(field.fields, inner, schema, f"{member}[i{depth}].", depth + 1)
            yield "}"
        elif not isinstance(field, Boolean) and type_of(field, schema, "").signed:
            yield f'printf(" %" PRId64, (int64_t){member});'
        else:
            yield f'printf(" %" PRIu64, (uint64_t){member});'
        if field.optional:
            yield "}"


def _get(
    fields: tuple[Field, ...], struct: Struct, schema: Schema, held: str, depth: int
) -> Iterator[str]:
    for field in fields:
        member = f"{held}{struct.members[field.name]}"
        if field.optional:
            has = f"{held}{struct.presence[field.name]}"
            yield f"{has} = next() != 0;"
            yield f"if ({has}) {{"
        if isinstance(field, ListOf):
            count = f"{held}{struct.counts[field.name]}"
            yield f"{count} = (uint8_t)next();"
            yield f"for (size_t i{depth} = 0; i{depth} < {count}; i{depth}++) {{"
            inner = struct.elements[field.name]
            yield from _get(field.fields, inner, schema, f"{member}[i{depth}].", depth + 1)
            yield "}"
        elif isinstance(field, Boolean):
            yield f"{member} = next() != 0;"
        else:
            yield f"{member} = ({type_of(field, schema, '').name})next();"
        if field.optional:
            yield "}"
