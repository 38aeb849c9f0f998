"""The cipher of the seal against RFC 3610, section 8, packet vectors 1 and 2 (from memory).

They have the 13-byte nonce and the 8-byte tag that the seal uses.
"""

import pytest

from packcodec.frame.seal import Key

KEY = Key(bytes(range(0xC0, 0xD0)))
ASSOCIATED = bytes(range(8))
VECTORS = [
    (
        "00000003020100a0a1a2a3a4a5",
        range(0x08, 0x1F),
        "588c979a61c663d2f066d0c2c0f989806d5f6b61dac38417e8d12cfdf926e0",
    ),
    (
        "00000004030201a0a1a2a3a4a5",
        range(0x08, 0x20),
        "72c91a36e135f8cf291ca894085c87e3cc15c439c9e43a3ba091d56e10400916",
    ),
]


@pytest.mark.parametrize(("nonce", "plain", "sealed"), VECTORS)
def test_packet_vectors(nonce: str, plain: range, sealed: str) -> None:
    assert KEY.encrypt(8, bytes.fromhex(nonce), bytes(plain), ASSOCIATED).hex() == sealed
    opened = KEY.decrypt(8, bytes.fromhex(nonce), bytes.fromhex(sealed), ASSOCIATED)
    assert opened == bytes(plain)
