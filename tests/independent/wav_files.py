"""Reading a stimulus and writing recordings as WAV files, without any audio library.

Chunk layout: Microsoft/IBM "Multimedia Programming Interface" (1991) for RIFF WAVE, EBU Tech 3306 for RF64 and its
`ds64` chunk. A stimulus can be hundreds of megabytes, so it is mapped into memory and only what sounds is read.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

PCM, IEEE_FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
SAMPLE_FORMATS = ("int16", "int24", "int32", "float32")


@dataclass(frozen=True)
class WavFile:
    """Where the samples of an open WAV file lie; `frames` counts one sample on every channel."""

    path: Path
    sample_rate_hz: int
    channels: int
    frames: int
    bits: int
    is_float: bool
    data_offset_bytes: int

    @property
    def duration_s(self) -> float:
        """Playing time, seconds."""
        return self.frames / self.sample_rate_hz

    def mapped(self) -> np.ndarray:
        """The interleaved samples as (frames, channels), mapped read-only; not for 24-bit files."""
        kind = {(32, True): "<f4", (64, True): "<f8", (16, False): "<i2", (32, False): "<i4"}[self.bits, self.is_float]
        return np.memmap(self.path, dtype=kind, mode="r", offset=self.data_offset_bytes,
                         shape=(self.frames, self.channels))

    def full_scale(self) -> float:
        """The stored number that means 1.0."""
        return 1.0 if self.is_float else float(2 ** (self.bits - 1))

    def channel(self, index: int, first: int = 0, count: int | None = None) -> np.ndarray:
        """Samples of one channel (counted from 0) as float64, full scale = 1.0."""
        last = self.frames if count is None else first + count
        if self.bits == 24:
            raw = np.memmap(self.path, dtype=np.uint8, mode="r", offset=self.data_offset_bytes,
                            shape=(self.frames, self.channels, 3))[first:last, index].astype(np.int32)
            value = raw[:, 0] | (raw[:, 1] << 8) | (raw[:, 2] << 16)
            return ((value ^ 0x800000) - 0x800000) / self.full_scale()
        return self.mapped()[first:last, index].astype(np.float64) / self.full_scale()


def open_wav(path: str | Path) -> WavFile:
    """Read the header of a RIFF or RF64 WAV file.

    Raises ValueError when the file is neither or has no usable `fmt ` and `data` chunks.
    """
    path = Path(path)
    size_of_file = path.stat().st_size
    with path.open("rb") as file:
        riff, _, wave = struct.unpack("<4sI4s", file.read(12))
        if riff not in (b"RIFF", b"RF64") or wave != b"WAVE":
            raise ValueError(f"{path}: not a WAV file")
        long_data_size = None
        layout = None
        while header := file.read(8):
            if len(header) < 8:
                break
            name, size = struct.unpack("<4sI", header)
            start = file.tell()
            if name == b"ds64":
                _, long_data_size = struct.unpack("<QQ", file.read(16))
            elif name == b"fmt ":
                layout = _read_format(file.read(min(size, 40)))
            elif name == b"data":
                if layout is None:
                    raise ValueError(f"{path}: data before fmt")
                if size == 0xFFFFFFFF and long_data_size is not None:
                    size = long_data_size
                size = min(size, size_of_file - start)
                tag, channels, rate, bits = layout
                frames = size // (channels * bits // 8)
                return WavFile(path, rate, channels, frames, bits, tag == IEEE_FLOAT, start)
            file.seek(start + size + (size & 1))
    raise ValueError(f"{path}: no data chunk")


def _read_format(fields: bytes) -> tuple[int, int, int, int]:
    """(format tag, channels, sample rate in Hz, bits) from a `fmt ` chunk; extensible tags are resolved."""
    tag, channels, rate, _, _, bits = struct.unpack("<HHIIHH", fields[:16])
    if tag == EXTENSIBLE:
        tag = struct.unpack("<H", fields[24:26])[0]
    if tag not in (PCM, IEEE_FLOAT):
        raise ValueError(f"WAV format tag {tag} is not supported")
    return tag, channels, rate, bits


def find_active_segments(wav: WavFile, *, threshold: float = 1e-9, bridge_s: float = 0.05) -> list[list[slice]]:
    """For every channel, the stretches of frames in which it is not silent.

    One pass over the file. Silence is |x| <= threshold (full scale 1.0); stretches less than `bridge_s` seconds apart
    are joined. Edges are rounded outwards to whole blocks of 256 frames.
    """
    block = 256
    samples = wav.mapped()
    blocks = -(-wav.frames // block)
    active = np.zeros((blocks, wav.channels), dtype=bool)
    step = block * 256
    limit = threshold * wav.full_scale()
    for first in range(0, wav.frames, step):
        part = np.abs(samples[first:first + step])
        part = np.pad(part, ((0, -len(part) % block), (0, 0)))
        loud = part.reshape(-1, block, wav.channels).max(axis=1) > limit
        active[first // block:first // block + len(loud)] = loud
    gap = max(1, round(bridge_s * wav.sample_rate_hz / block))
    return [_runs(active[:, k], gap, block, wav.frames) for k in range(wav.channels)]


def _runs(active: np.ndarray, gap: int, block: int, frames: int) -> list[slice]:
    """Runs of true blocks, joined over gaps of up to `gap` blocks, as slices of frames."""
    where = np.flatnonzero(active)
    if where.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(where) > gap)
    firsts = np.concatenate(([where[0]], where[breaks + 1]))
    lasts = np.concatenate((where[breaks], [where[-1]]))
    return [slice(int(a) * block, min((int(b) + 1) * block, frames)) for a, b in zip(firsts, lasts)]


def write_wav(path: str | Path, samples: np.ndarray, sample_rate_hz: int, sample_format: str = "int24") -> None:
    """Write (frames, channels) samples, full scale = 1.0, as a RIFF WAV file under 4 GiB.

    `sample_format` is one of SAMPLE_FORMATS. Integers are rounded to nearest and limited to their range; no dither.
    """
    samples = np.atleast_2d(np.asarray(samples).T).T
    frames, channels = samples.shape
    bits = {"int16": 16, "int24": 24, "int32": 32, "float32": 32}[sample_format]
    frame_bytes = channels * bits // 8
    data_bytes = frames * frame_bytes
    is_float = sample_format == "float32"
    extra = b"fact" + struct.pack("<II", 4, frames) if is_float else b""
    fields = struct.pack("<HHIIHH", IEEE_FLOAT if is_float else PCM, channels, sample_rate_hz,
                         sample_rate_hz * frame_bytes, frame_bytes, bits) + (b"\0\0" if is_float else b"")
    body = b"WAVEfmt " + struct.pack("<I", len(fields)) + fields + extra + b"data" + struct.pack("<I", data_bytes)
    with Path(path).open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", len(body) + data_bytes + (data_bytes & 1)) + body)
        for first in range(0, frames, 1 << 18):
            file.write(_encode(samples[first:first + (1 << 18)], sample_format))
        file.write(b"\0" * (data_bytes & 1))


def _encode(samples: np.ndarray, sample_format: str) -> bytes:
    """Samples (full scale 1.0) as the bytes of one format, interleaved."""
    if sample_format == "float32":
        return np.ascontiguousarray(samples, dtype="<f4").tobytes()
    bits = int(sample_format[3:])
    top = 2 ** (bits - 1)
    value = np.clip(np.rint(np.nan_to_num(samples) * top), -top, top - 1)
    if bits == 24:
        return value.astype("<i4").reshape(-1, 1).view(np.uint8)[:, :3].tobytes()
    return value.astype(f"<i{bits // 8}").tobytes()
