"""The seal: AES-CCM in place of the check, through the cryptography package.

CCM is that of NIST SP 800-38C and RFC 3610, with AES-128, a 13-byte nonce and a tag of 4 or 8
bytes. Nothing of the nonce is sent:

    nonce        station (8) | purpose (1): 0 frames, 1 missing lists | the whole counter (4)
    associated   what the check covers and nobody sends, then the header, in whole bytes
    plaintext    what stands behind the header, padding included

In the mode "sign" the associated data goes on to the end of the frame and the plaintext is empty:
for bands where no cipher is allowed. Whether a keyed tag is allowed there is for the regulator to
say. A nonce must never be used twice under one key: the counter never repeats, and a new deployment
takes a new key. SP 800-38C asks for care with tags under 64 bits; the base limits the tries.
"""

from collections.abc import Mapping
from typing import Self

from packcodec.errors import EncodeError, MissingPartError
from packcodec.layout.checks import Check

try:
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESCCM
except ImportError:
    raise MissingPartError(
        "a sealed schema needs cryptography, which is not installed",
        remedy="pip install 'packcodec[seal]'",
    ) from None

KEY_BYTES = 16
FRAMES, LISTS = 0, 1


class Key:
    """A station's key. It is never shown: not by repr, not in an error, not in a pickle."""

    __slots__ = ("_cipher",)

    def __init__(self, secret: bytes) -> None:
        """Raises EncodeError for what is no key of 16 bytes, and does not repeat it."""
        if not isinstance(secret, bytes) or len(secret) != KEY_BYTES:
            raise EncodeError("is no key", place="key", remedy=f"a key is {KEY_BYTES} bytes")
        # The cipher is made per tag length, from the secret it hides in itself.
        self._cipher = {length: AESCCM(secret, length) for length in (4, 8)}

    def __repr__(self) -> str:
        return "Key(…)"

    def __reduce__(self) -> tuple[type[Self], tuple[bytes]]:
        raise EncodeError("does not leave the process", place="key", remedy="pass the key file")

    def encrypt(self, tag: int, nonce: bytes, plain: bytes, associated: bytes) -> bytes:
        """Ciphertext and a tag of `tag` bytes."""
        return self._cipher[tag].encrypt(nonce, plain, associated)

    def decrypt(self, tag: int, nonce: bytes, sealed: bytes, associated: bytes) -> bytes | None:
        """The plaintext; None where the tag is not right."""
        try:
            return self._cipher[tag].decrypt(nonce, sealed, associated)
        except InvalidTag:
            return None

    def sign_list(self, tag: int, clear: bytes, station: int, number: int) -> bytes:
        """A tag of `tag` bytes for a missing list (`packcodec.frame.missing`) of that number."""
        return self.encrypt(tag, _nonce(station, LISTS, number), b"", clear)

    def verifies_list(self, clear: bytes, tag: bytes, station: int, number: int) -> bool:
        """Whether `sign_list` gave this tag."""
        return self.decrypt(len(tag), _nonce(station, LISTS, number), tag, clear) is not None


Keys = Mapping[int, Key]


class Seal:
    """Seals and opens the frames of one layout, of any station whose key is there."""

    def __init__(self, check: Check, header_bytes: int, keys: Keys) -> None:
        self._tag = check.octets
        self._clear = header_bytes if check.hides else None
        self._keys = keys

    def has(self, station: int) -> bool:
        """Whether there is a key for that station, without which the others raise KeyError."""
        return station in self._keys

    def close(self, data: bytes, unsent: bytes, station: int, counter: int) -> bytes:
        """The frame of `data`, header first; the station's key is there."""
        clear, plain = self._parts(data)
        nonce = _nonce(station, FRAMES, counter)
        return clear + self._keys[station].encrypt(self._tag, nonce, plain, unsent + clear)

    def open(self, frame: bytes, unsent: bytes, station: int, counter: int) -> bytes | None:
        """What `close` was given; None where the tag is not right."""
        clear, sealed = self._parts(frame, tail=self._tag)
        nonce = _nonce(station, FRAMES, counter)
        plain = self._keys[station].decrypt(self._tag, nonce, sealed, unsent + clear)
        return None if plain is None else clear + plain

    def _parts(self, data: bytes, tail: int = 0) -> tuple[bytes, bytes]:
        """What stays readable, and the rest; of a frame the tag of `tail` bytes is in the rest."""
        end = len(data) - tail if self._clear is None else self._clear
        return bytes(data[:end]), bytes(data[end:])


def _nonce(station: int, purpose: int, counter: int) -> bytes:
    return station.to_bytes(8, "big") + bytes([purpose]) + counter.to_bytes(4, "big")
