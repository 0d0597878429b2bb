#!/usr/bin/env python3
"""Reckons the targets of an instrument file a second time, apart from the program, and prints a
sample of them as CSV: id, hz, cents from equal. The goldens beside this file were made with it:

    for f in ../../../instruments/*.toml; do ./reckon.py $f > $(basename $f .toml).csv; done

Temperaments are written here as published tables of cents from C, not as fifths."""
import math
import re
import sys
import tomllib
from fractions import Fraction

# Cents from C. Werckmeister III and meantone as printed (Tonalsoft; Aaron's pure thirds).
TABLES = {
    "equal": [100.0 * i for i in range(12)],
    "quarter-comma meantone": [0, 76.0490, 193.1569, 310.2647, 386.3137, 503.4216, 579.4706,
                               696.5784, 772.6274, 889.7353, 1006.8431, 1082.8921],
}
FIFTH = 1200 * math.log2(1.5)
SYNTONIC = 1200 * math.log2(81 / 80)
PYTHAGOREAN = 1200 * math.log2(3**12 / 2**19)
STEPS = {1: 1, 3: Fraction(5, 4), 5: Fraction(3, 2), 8: 2, 10: Fraction(5, 2), 12: 3, 15: 4,
         17: 5, 19: 6, 22: 8, 24: 10, 26: 12, 29: 16, 33: 24, 36: 32}
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def slug(text):
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def feet(value):
    words = str(value).rstrip("'′").split()
    return sum(Fraction(w) for w in words)


def midi(name):
    for word, base in (("bass ", 36), ("tenor ", 48), ("middle ", 60), ("treble ", 72)):
        if name.startswith(word):
            return base + LETTERS[name[len(word)]]
    if name.endswith(" in alt"):
        return 84 + LETTERS[name[0]]
    low = {"CC": 36, "GG": 31}
    return low[name]


def tempering(part):
    if isinstance(part, str):
        if part == "pure":
            return 0.0
        share, comma = part.split()
        return float(Fraction(share)) * (SYNTONIC if comma == "syntonic" else PYTHAGOREAN)
    return float(part)


def offsets(temperament):
    """Cents from equal for C ... B with A = 0."""
    if isinstance(temperament, str):
        table = TABLES[temperament]
    else:
        table, at = [0.0] * 12, 0.0
        for i, part in enumerate(temperament["fifths"]):
            table[7 * i % 12] = at % 1200
            at += FIFTH + tempering(part)
    from_equal = [(c - 100 * i + 600) % 1200 - 600 for i, c in enumerate(table)]
    return [c - from_equal[9] for c in from_equal]


def footage(stop):
    if "mixture" in stop:
        return Fraction(8)
    if "feet" in stop:
        return feet(stop["feet"])
    return feet(re.search(r"[0-9][0-9 /]*['′]$", stop["name"]).group(0))


def rows(text):
    if "." in text:
        return [Fraction(STEPS[int(step)]) for step in text.split(".") if step]
    return [8 / feet(part) for part in text.split(",")]


def beats(stop, key, number):
    rate = stop["beats"]
    if not isinstance(rate, dict):
        return rate
    points = sorted((number(k), v) for k, v in rate.items())
    for (k0, v0), (k1, v1) in zip(points, points[1:]):
        if k0 <= key <= k1:
            return v0 + (v1 - v0) * (key - k0) / (k1 - k0)
    return points[0][1] if key < points[0][0] else points[-1][1]


def main(path):
    with open(path, "rb") as file:
        organ = tomllib.load(file)
    a = organ["pitch"]["a"]
    bent = offsets(organ["temperament"])

    def note(m):
        return a * 2 ** ((m - 69) / 12 + bent[m % 12] / 1200)

    for division in organ["division"]:
        lowest = midi(division.get("lowest", "CC"))

        def number(key):
            return key if isinstance(key, int) else midi(key) - lowest + 1

        for stop in division["stop"]:
            if "borrowed_from" in stop:
                continue
            first = number(stop.get("from", 1))
            last = number(stop.get("to", division["keys"])) + stop.get("extra_pipes", 0)
            for key in range(first, last + 1):
                if key % 6 != 1 and key != last:
                    continue
                ratios = [8 / footage(stop)]
                for part in stop.get("mixture", []):
                    if number(part["from"]) <= key:
                        ratios = rows(part["rows"])
                m = lowest + key - 1
                for row, ratio in enumerate(ratios, 1):
                    up = round(12 * math.log2(ratio))
                    hz = note(m + up) if stop.get("tempered") else note(m) * float(ratio)
                    if "beats" in stop:
                        hz += beats(stop, key, number)
                    equal = a * 2 ** ((m + up - 69) / 12)
                    name = f"{slug(division['name'])}/{slug(stop['name'])}/{row}/{key}"
                    print(f"{name},{hz:.5f},{1200 * math.log2(hz / equal):.4f}")


main(sys.argv[1])
