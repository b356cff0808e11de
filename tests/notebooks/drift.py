"""Whether a notebook's committed results are those of a fresh run."""

import re

import nbformat
import numpy as np

NUMBER = re.compile(r"[-−+]?\d[\d,]*(?:\.\d+)?(?:[eE][-+]?\d+)?")
CLOSE = 0.02  # share by which a number in words may differ, or by one of its last decimal
DRAWN = 2e-3  # share of the axis by which what is drawn may differ


def read_numbers(words):
    """The numbers in words, and one unit of the last decimal of each; 0 for whole numbers."""
    found = [text.replace(",", "").replace("−", "-") for text in NUMBER.findall(words)]
    units = []
    for text in found:
        digits, _, power = text.lower().partition("e")
        decimals = len(digits.partition(".")[2])
        units.append(10.0 ** (int(power or 0) - decimals) if decimals else 0.0)
    return np.array([float(text) for text in found]), np.array(units)


def differ_in_words(one, two):
    """Say how two texts differ but for spaces and numbers that are close."""
    first, second = (" ".join(NUMBER.sub("#", re.sub(r"[-─=]{2,}", "-", t)).split())
                     for t in (one, two))  # fmt: skip
    if first != second:
        return f"words: {one[:200]!r} is now {two[:200]!r}"
    (a, unit), (b, _) = read_numbers(one), read_numbers(two)
    far = np.abs(a - b) > np.maximum(CLOSE * np.maximum(np.abs(a), np.abs(b)), 1.01 * unit)
    return f"numbers: {a[far][:5]} are now {b[far][:5]}" if far.any() else ""


def differ_in_drawing(one, two):
    """Say how what two figures draw differs."""
    a, b = (np.array(rows, dtype=float).reshape(-1, 7) for rows in (one, two))
    if a.shape != b.shape:
        return f"{len(a)} shapes drawn are now {len(b)}"
    if not len(a):
        return ""
    span = np.array([np.ptp(a[:, 1:4]), np.ptp(a[:, 4:7])]).repeat(3)
    far = (np.abs(a - b)[:, 1:] > DRAWN * span).any(axis=1) | (a[:, 0] != b[:, 0])
    return f"{far.sum()} of {len(a)} shapes are drawn elsewhere" if far.any() else ""


def text_of(output):
    return output.get("text") or output.get("data", {}).get("text/plain", "")


def differ_in_output(one, two):
    kinds = [(o.output_type, *sorted(o.get("data", {}))) for o in (one, two)]
    if kinds[0] != kinds[1]:
        return f"{kinds[0]} is now {kinds[1]}"
    drawn = [o.get("metadata", {}).get("drawn", []) for o in (one, two)]
    return differ_in_words(text_of(one), text_of(two)) or differ_in_drawing(*drawn)


def find_drift(path, fresh):
    """Every cell whose committed results aren't those of the fresh run, in words."""
    found = []
    for old, new in zip(nbformat.read(path, as_version=4).cells, fresh.cells, strict=True):
        if old.cell_type != "code":
            continue
        if len(old.outputs) != len(new.outputs):
            found.append(f"{old.id}: {len(old.outputs)} results are now {len(new.outputs)}")
            continue
        pairs = zip(old.outputs, new.outputs, strict=True)
        found += [f"{old.id}: {words}" for one in pairs if (words := differ_in_output(*one))]
    return found
