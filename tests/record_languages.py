"""Emitted code that speaks records as JSON: asked from Python, whatever language it is in.

`decode` answers with a record or {"reason": number}, `encode` with hex or None where it refused;
`problem` is what it said. What the carrier says is a dict of station, message, sequence, received.
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
from functools import lru_cache, partial
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol

from packcodec.emit import emit
from packcodec.layout.model import Layout

NODE = shutil.which("node")


class Language(Protocol):
    problem: str

    def decode(self, frames: list[tuple[bytes, Mapping[str, Any]]]) -> list[Any]: ...

    def encode(self, records: list[dict[str, Any]]) -> list[str | None]: ...


class FrozenPython:
    """The frozen Python file, in this interpreter."""

    def __init__(self, layout: Layout) -> None:
        ((name, text),) = emit(layout, "python").items()
        self.module: Any = ModuleType(name.removesuffix(".py"))
        exec(compile(text, name, "exec"), self.module.__dict__)
        self.problem = ""

    def decode(self, frames: list[tuple[bytes, Mapping[str, Any]]]) -> list[Any]:
        return [self._decode(frame, said) for frame, said in frames]

    def _decode(self, frame: bytes, said: Mapping[str, Any]) -> Any:
        carried = dict(said)
        if "received" in carried:
            carried["received"] = datetime.fromisoformat(carried["received"])
        try:
            return self.module.decode(frame, **carried)
        except self.module.Refused as refused:
            return {"reason": refused.reason}

    def encode(self, records: list[dict[str, Any]]) -> list[str | None]:
        return [self._encode(record) for record in records]

    def _encode(self, record: dict[str, Any]) -> str | None:
        try:
            frame: bytes = self.module.encode(record)
        except self.module.Refused as refused:
            self.problem = str(refused)
            return None
        return frame.hex()


_RUNNER = """
var vm = require('vm'), context = {};
require('readline').createInterface({input: process.stdin}).on('line', function (line) {
    var asked = JSON.parse(line), answer = {};
    if (asked.text) {
        context = {};
        vm.runInNewContext(asked.text, context);
    } else {
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
        self.problem = ""

    def ask(self, call: str, inputs: list[dict[str, Any]]) -> list[dict[str, Any]]:
        self._told({"text": self.text})
        return [self._told({"call": call, "input": each}) for each in inputs]

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
        inputs = []
        for frame, said in frames:
            told = {("recvTime" if key == "received" else key): said[key] for key in said}
            inputs.append({"bytes": list(frame), "fPort": 1, **told})
        return [self._record(answer) for answer in self.ask("decodeUplink", inputs)]

    @staticmethod
    def _record(answer: dict[str, Any]) -> Any:
        if not answer["errors"]:
            return answer["data"]
        assert "data" not in answer
        (error,) = answer["errors"]
        number = re.match(r"[A-Z_]+ \((\d)\): ", error)
        return {"reason": int(number[1]) if number else None, "problem": error}

    def encode(self, records: list[dict[str, Any]]) -> list[str | None]:
        answers = self.ask("encodeDownlink", [{"data": record} for record in records])
        self.problem = " ".join(text for answer in answers for text in answer["errors"])
        return [None if each["errors"] else bytes(each["bytes"]).hex() for each in answers]


def ecmascript_5_fault(text: str) -> str | None:
    """What acorn (npm), which takes the edition at its word, says of a script: empty if nothing.

    None where there is no acorn here.
    """
    globally = subprocess.run(["npm", "root", "-g"], capture_output=True, text=True).stdout.strip()
    run = partial(
        subprocess.run, env={**os.environ, "NODE_PATH": globally}, capture_output=True, text=True
    )
    if run([str(NODE), "-e", "require('acorn')"]).returncode:
        return None
    parse = "require('acorn').parse(require('fs').readFileSync(0, 'utf8'), {ecmaVersion: 5})"
    done = run([str(NODE), "-e", parse], input=text)
    return str(done.stderr) if done.returncode else ""


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
