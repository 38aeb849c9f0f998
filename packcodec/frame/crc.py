"""The check at a frame's end, through the crcmod module."""

from collections.abc import Callable
from functools import cache

from crcmod import mkCrcFun

from packcodec.layout.checks import Check


@cache
def crc_function(check: Check) -> Callable[..., int]:
    """f(data) or f(data, so_far): the CRC of bytes, or of more bytes after `so_far`.

    Unreflected, initial value and final exclusive-or all ones (`packcodec.layout.checks`).
    """
    ones = (1 << check.bits) - 1
    function: Callable[..., int] = mkCrcFun(
        (1 << check.bits) | check.polynomial, initCrc=0, rev=False, xorOut=ones
    )
    return function
