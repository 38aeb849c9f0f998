"""A decoder by a stranger, on: written from spec/seal.md and spec/repair.md, with AES-CCM from
cryptography. It imports nothing of packcodec.
"""

from datetime import datetime
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from stranger import FAILED_CHECK, OUT_OF_RANGE, Reader, Refused, Stranger, width

REPAIR = {"window": 32, "stride": 3, "every": 1, "symbols": 1}


class GuardedStranger(Stranger):
    """Reads frames with a seal or repair symbols, and all others."""

    def __init__(self, toml: str, species: str) -> None:
        super().__init__(toml, species)
        self.repair = REPAIR | self.toml.get("repair", {"messages": []})
        self.sealed = self.frame.get("seal", "open") != "open"
        if self.sealed:
            self.check = self.frame["seal"]

    # Identity and sizes

    def form(self) -> dict[str, Any]:
        form = super().form()
        if self.frame.get("seal", "open") != "open":
            form["frame"]["seal"] = self.frame["seal"]
        if "repair" in self.toml:
            said = REPAIR | self.toml["repair"]
            codes = {name: code for code, name in self.messages.items()}
            form["repair"] = {key: said[key] for key in ("window", "stride", "every")} | {
                "messages": sorted(said["messages"], key=lambda name: codes[name]),
                "symbol_bytes": said.get("symbol_bytes", 0),
            }
            if said["symbols"] > 1:
                form["repair"]["symbols"] = said["symbols"]
        return form

    def repair_bits(self, message: str) -> int:
        said = REPAIR | self.toml.get("repair", {"messages": []})
        if message not in said["messages"]:
            return 0
        return width(said["window"] + 1) + 8 * self.symbol_bytes()

    def symbol_bytes(self) -> int:
        lead = 1 + max(self.messages).bit_length()
        longest = max(self.most(self.fields(name)) for name in self.messages.values())
        holds_every_source = -(-(lead + longest) // 8)
        return int(self.toml["repair"].get("symbol_bytes", holds_every_source))

    def check_bytes(self) -> int:
        return int(self.check[-1]) if self.sealed else super().check_bytes()

    # Reading a frame

    def read(self, entry: dict[str, Any], received: datetime | None = None) -> dict[str, Any]:
        """The record of a vector; `key` and `expected` are those of the station it names."""
        self.key, self.expected = entry.get("key"), entry.get("expected", 0)
        self.also: dict[str, Any] = {}
        record = self.decode(bytes.fromhex(entry["frame"]), entry.get("carried", {}), received)
        return record | self.also

    def verified(self, frame: bytes, unsent: bytes, station: int, sequence: Any) -> bytes:
        if not self.sealed:
            return super().verified(frame, unsent, station, sequence)
        if self.key is None:
            raise Refused(FAILED_CHECK)
        bits = self.frame["sequence_bits"] or 16
        self.also["counter"] = counter = whole(sequence % 2**bits, self.expected, bits)
        tag = self.check_bytes()
        clear = self.header_bits() // 8 if self.check.startswith("ccm") else len(frame) - tag
        nonce = station.to_bytes(8, "big") + b"\0" + counter.to_bytes(4, "big")
        cipher = AESCCM(bytes.fromhex(self.key), tag)
        try:
            plain = cipher.decrypt(nonce, frame[clear:], unsent + frame[:clear])
        except InvalidTag:
            raise Refused(FAILED_CHECK) from None
        return frame[:clear] + plain

    def before_payload(self, reader: Reader, message: str, sequence: Any) -> None:
        said = self.repair
        if message not in said["messages"]:
            return
        if sequence * said["symbols"] % said["every"] >= said["symbols"]:
            return
        held = reader.take(width(said["window"] + 1))
        symbol = reader.take(8 * self.symbol_bytes())
        if held > said["window"]:
            raise Refused(OUT_OF_RANGE)
        octets = symbol.to_bytes(self.symbol_bytes(), "big")
        self.also["repair"] = {"held": held, "symbol": octets.hex()}


def whole(sent: int, expected: int, bits: int) -> int:
    """As spec/wire-format.md, "Sequences", has it."""
    circle = 2**bits
    candidate = expected - expected % circle + sent
    if candidate <= expected - circle / 2 and candidate + circle < 2**32:
        return int(candidate + circle)
    if (candidate > expected + circle / 2 or candidate >= 2**32) and candidate >= circle:
        return int(candidate - circle)
    return int(candidate)
