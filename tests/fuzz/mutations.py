"""Make a file that nobody meant out of one that somebody did."""

import re

import numpy as np

ODD = [
    b"", b"\0", b"\n", b"\r", b"\t", b" ", b'"', b"'", b"'''", b'"""', b";", b"\n;", b"#", b",", b".", b"_", b"[", b"]",
    b"{", b"}", b"=", b"-", b"?", b"loop_\n", b"data_\n", b"data_x\n", b"save_\n", b"nan", b"inf", b"-inf", b"1e999",
    b"-1e308", b"1e-320", b"1e999(3)", b"1(999)", b"0", b"-0", b"-1", b"1_000", b"9" * 400, b"0x10", b"1e5",
    b"2001-13-45", b"true", b"[1]", b"{a=1}", b"\xff\xfe", b"\xef\xbb\xbf", b"\xff", b"\xe4", "é\u2028\u0085".encode(),
    "\ud800".encode("utf-8", "surrogatepass"), b"[" * 2000, b"a." * 500, b"/", b"../../etc/passwd", b"/dev/zero",
    b"%s%n{0}{}", b"\x1b[2J", b"1,5", b"1;2;3;4",
]  # fmt: skip


def mutated(rng: np.random.Generator, seeds: list[bytes]) -> bytes:
    """Change one of the files in one to six places."""
    data = bytes(seeds[rng.integers(len(seeds))])
    for _ in range(rng.integers(1, 7)):
        data = WAYS[rng.integers(len(WAYS))](rng, data, seeds)
    return data[:2_000_000]


def _place(rng: np.random.Generator, data: bytes) -> int:
    return int(rng.integers(len(data) + 1))


def _stretch(rng: np.random.Generator, data: bytes) -> tuple[int, int]:
    start = _place(rng, data)
    return start, min(len(data), start + int(rng.integers(1, 2 + 2 ** int(rng.integers(1, 12)))))


def _bytes(rng, data, _):
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 9)) if data else 0):
        changed[rng.integers(len(data))] = rng.integers(256)
    return bytes(changed)


def _cut(rng, data, _):
    return data[: _place(rng, data)]


def _drop(rng, data, _):
    start, end = _stretch(rng, data)
    return data[:start] + data[end:]


def _again(rng, data, _):
    start, end = _stretch(rng, data)
    return data[:end] + data[start:end] * int(rng.integers(1, 30)) + data[end:]


def _insert(rng, data, _):
    at = _place(rng, data)
    return data[:at] + ODD[rng.integers(len(ODD))] + data[at:]


def _splice(rng, data, seeds):
    other = seeds[rng.integers(len(seeds))]
    start, end = _stretch(rng, other)
    at = _place(rng, data)
    return data[:at] + other[start:end] + data[at:]


def _exchange(rng, data, _):
    """Put an odd word for a word."""
    words = list(re.finditer(rb"[^\s,;=\[\]{}]+", data[:100_000]))
    if not words:
        return data
    word = words[rng.integers(len(words))]
    return data[: word.start()] + ODD[rng.integers(len(ODD))] + data[word.end() :]


def _other_word(rng, data, _):
    """Put a word of the file for another one."""
    words = list(re.finditer(rb"[^\s,;=\[\]{}]+", data[:100_000]))
    if not words:
        return data
    one, other = (words[k] for k in rng.integers(len(words), size=2))
    return data[: one.start()] + other[0] + data[one.end() :]


def _lines(rng, data, _):
    lines = data.splitlines(keepends=True)
    if len(lines) > 1:
        a, b = rng.integers(len(lines), size=2)
        lines[a], lines[b] = lines[b], lines[a]
    return b"".join(lines)


def _encoding(rng, data, _):
    try:
        return data.decode().encode(["utf-16", "utf-16-le", "utf-8-sig", "utf-32"][rng.integers(4)])
    except UnicodeDecodeError:
        return data


WAYS = [
    _bytes, _cut, _drop, _again, _insert, _insert, _splice, _exchange, _exchange, _exchange, _other_word, _lines,
    _encoding,
]  # fmt: skip
