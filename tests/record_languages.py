"""Emitted code that speaks records as JSON: asked from Python, whatever language it is in.

`decode` answers with a record or {"reason": number}, `encode` with hex or None where it refused;
`problem` is what it said. What stands beside a frame or record is a dict: of what the carrier says,
station, message, sequence, received; of a sealed frame's station, its number as `of`, its key in
hexadecimal or None as `key`, and `expected`; and of a ring, its sources as `ring`, or None for the
ring that the record before has passed.
"""

import atexit
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol

from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from packcodec.emit import emit
from packcodec.layout.model import Layout

NODE = shutil.which("node")


class Language(Protocol):
    problem: str

    def decode(self, frames: list[tuple[bytes, Mapping[str, Any]]]) -> list[Any]: ...

    def encode(
        self, records: list[dict[str, Any]], beside: list[Mapping[str, Any]] | None = None
    ) -> list[str | None]: ...


class FrozenPython:
    """The frozen Python file, in this interpreter."""

    def __init__(self, layout: Layout) -> None:
        ((name, text),) = emit(layout, "python").items()
        self.module: Any = ModuleType(name.removesuffix(".py"))
        exec(compile(text, name, "exec"), self.module.__dict__)
        self.tag_length = layout.check.octets
        self.ring: Any = None
        self.problem = ""

    def decode(self, frames: list[tuple[bytes, Mapping[str, Any]]]) -> list[Any]:
        return [self._decode(frame, said) for frame, said in frames]

    def _decode(self, frame: bytes, said: Mapping[str, Any]) -> Any:
        names = ("station", "message", "sequence")
        told = {name: said[name] for name in names if name in said} | self._ciphers(said)
        if "received" in said:
            told["received"] = datetime.fromisoformat(said["received"])
        if "expected" in said:
            told["expected"] = {said["of"]: said["expected"]}
        try:
            return self.module.decode(frame, **told)
        except self.module.Refused as refused:
            return {"reason": refused.reason}

    def _ciphers(self, said: Mapping[str, Any]) -> dict[str, Any]:
        if "key" not in said:
            return {}
        if said["key"] is None:
            return {"ciphers": {}}
        return {"ciphers": {said["of"]: AESCCM(bytes.fromhex(said["key"]), self.tag_length)}}

    def encode(
        self, records: list[dict[str, Any]], beside: list[Mapping[str, Any]] | None = None
    ) -> list[str | None]:
        said = beside or [{}] * len(records)
        return [self._encode(record, each) for record, each in zip(records, said, strict=True)]

    def _encode(self, record: dict[str, Any], said: Mapping[str, Any]) -> str | None:
        told = self._ciphers(said)
        if said.get("ring") is not None:
            sources = [bytes.fromhex(source) for source in said["ring"]]
            self.ring = self.module.Ring(record["station"], sources, record["sequence"])
        if "ring" in said:
            told["ring"] = self.ring
        try:
            frame: bytes = self.module.encode(record, **told)
        except self.module.Refused as refused:
            self.problem = str(refused)
            return None
        return frame.hex()


# input.cipher, a key in hexadecimal or null and the length of a tag, becomes input.seal and .open.
_RUNNER = """
var vm = require('vm'), crypto = require('crypto'), context = {};
function cipher(make, said, nonce, bytes, associated) {
    var key = Buffer.from(said.key, 'hex');
    var made = make('aes-128-ccm', key, Buffer.from(nonce), {authTagLength: said.tag});
    made.setAAD(Buffer.from(associated), {plaintextLength: bytes});
    return made;
}
function seal(said, station, nonce, plain, associated) {
    var made = cipher(crypto.createCipheriv, said, nonce, plain.length, associated);
    var octets = made.update(Buffer.from(plain));
    made.final();
    return Array.from(Buffer.concat([octets, made.getAuthTag()]));
}
function open(said, station, nonce, sealed, associated) {
    var end = sealed.length - said.tag;
    if (end < 0 || said.key === null) { return null; }
    var made = cipher(function () {
        var created = crypto.createDecipheriv.apply(null, arguments);
        return created.setAuthTag(Buffer.from(sealed.slice(end)));
    }, said, nonce, end, associated);
    try {
        var octets = made.update(Buffer.from(sealed.slice(0, end)));
        made.final();
        return Array.from(octets);
    } catch (wrong) {
        return null;
    }
}
require('readline').createInterface({input: process.stdin}).on('line', function (line) {
    var asked = JSON.parse(line), answer = {};
    if (asked.text) {
        context = {};
        vm.runInNewContext(asked.text, context);
    } else {
        if (asked.input.cipher) {
            asked.input.seal = seal.bind(null, asked.input.cipher);
            asked.input.open = open.bind(null, asked.input.cipher);
        }
        if (asked.input.recvTime) { asked.input.recvTime = new Date(asked.input.recvTime); }
        answer = context[asked.call](asked.input);
    }
    console.log(JSON.stringify(answer));
});
"""


@lru_cache(maxsize=1)
def _node() -> "subprocess.Popen[str]":
    """One Node for all: it takes longer to start than to answer."""
    running = subprocess.Popen(
        [str(NODE), "-e", _RUNNER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    atexit.register(running.kill)
    return running


class JavaScript:
    """The JavaScript file in Node, in a context that has nothing but the language."""

    def __init__(self, layout: Layout) -> None:
        ((_, self.text),) = emit(layout, "javascript").items()
        self.tag_length = layout.check.octets
        self.problem = ""

    def ask(self, asked: list[tuple[str, dict[str, Any]]]) -> list[dict[str, Any]]:
        """The answers to calls, each a function's name and its input."""
        self._told({"text": self.text})
        return [self._told({"call": call, "input": each}) for call, each in asked]

    def cipher(self, key: str | None) -> dict[str, Any]:
        """The input's member that lets it seal and open; without a key it opens nothing."""
        return {"cipher": {"key": key, "tag": self.tag_length}}

    @staticmethod
    def _told(asked: dict[str, Any]) -> dict[str, Any]:
        node = _node()
        assert node.stdin is not None
        assert node.stdout is not None
        node.stdin.write(json.dumps(asked) + "\n")
        node.stdin.flush()
        line = node.stdout.readline()
        if not line:
            _node.cache_clear()
        assert line, "Node stopped: see its standard error"
        answer: dict[str, Any] = json.loads(line)
        return answer

    def decode(self, frames: list[tuple[bytes, Mapping[str, Any]]]) -> list[Any]:
        asked = [("decodeUplink", self._input(frame, said)) for frame, said in frames]
        return [self._record(answer) for answer in self.ask(asked)]

    def _input(self, frame: bytes, said: Mapping[str, Any]) -> dict[str, Any]:
        told = {name: said[name] for name in ("station", "message", "sequence") if name in said}
        if "received" in said:
            told["recvTime"] = said["received"]
        if "key" in said:
            told |= self.cipher(said["key"])
        if "expected" in said:
            told["expected"] = {str(said["of"]): said["expected"]}
        return {"bytes": list(frame), "fPort": 1, **told}

    @staticmethod
    def _record(answer: dict[str, Any]) -> Any:
        if not answer["errors"]:
            return answer["data"]
        assert "data" not in answer
        (error,) = answer["errors"]
        number = re.match(r"[A-Z_]+ \((\d)\): ", error)
        return {"reason": int(number[1]) if number else None, "problem": error}

    def encode(
        self, records: list[dict[str, Any]], beside: list[Mapping[str, Any]] | None = None
    ) -> list[str | None]:
        said = beside or [{}] * len(records)
        keys = [self.cipher(each["key"]) if "key" in each else {} for each in said]
        inputs = [{"data": record, **key} for record, key in zip(records, keys, strict=True)]
        answers = self.ask([("encodeDownlink", each) for each in inputs])
        self.problem = " ".join(text for answer in answers for text in answer["errors"])
        return [None if each["errors"] else bytes(each["bytes"]).hex() for each in answers]


def ecmascript_5_fault(text: str) -> str | None:
    """What acorn (npm), which takes the edition at its word, says of a script: empty if nothing.

    None where there is no acorn here.
    """
    modules = _acorn_modules()
    if modules is None:
        return None
    parse = "require('acorn').parse(require('fs').readFileSync(0, 'utf8'), {ecmaVersion: 5})"
    done = _in_node(parse, modules, text)
    return str(done.stderr) if done.returncode else ""


@lru_cache(maxsize=1)
def _acorn_modules() -> str | None:
    """The folder in which Node finds acorn, if it does."""
    globally = subprocess.run(["npm", "root", "-g"], capture_output=True, text=True).stdout.strip()
    return None if _in_node("require('acorn')", globally).returncode else globally


def _in_node(script: str, modules: str, text: str = "") -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [str(NODE), "-e", script],
        env={**os.environ, "NODE_PATH": modules},
        input=text,
        capture_output=True,
        text=True,
    )


def python_of(version: str) -> Path | None:
    """An interpreter of that version, if there is one here."""
    if sys.version_info[:2] == tuple(map(int, version.split("."))):
        return Path(sys.executable)
    for found in (
        shutil.which(f"python{version}"),
        *Path.home().glob(f".pyenv/versions/{version}.*/bin/python"),
    ):
        if found and subprocess.run([found, "--version"], capture_output=True).returncode == 0:
            return Path(found)
    return None
