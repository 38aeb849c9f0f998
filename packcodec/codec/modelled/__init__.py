"""Modelled coding: as few bits as the information is worth (spec/modelled-coding.md)."""

from packcodec.codec.modelled.payload import ModelledPayload

__all__ = ["ModelledPayload"]
