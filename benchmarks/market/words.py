"""Invented words: brands, types and materials that carry value, names and colours that do not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import Config
from benchmarks.market.shapes import Floats, Ints

_START = ("b", "br", "d", "dr", "f", "g", "gr", "h", "k", "l", "m", "n", "p", "pl", "qu", "r", "s", "st", "t", "v", "w")
_MIDDLE = ("a", "e", "i", "o", "u", "ay", "ea", "oo")
_END = ("ck", "ld", "lm", "n", "nd", "r", "rn", "sk", "st", "th", "x", "mb", "ll")
_TYPES, _MATERIALS, _COLOURS, _BRANDS = 9, 6, 10, 9


@dataclass(frozen=True)
class Words:
    """What each style is called, (S,); ``value`` is the part of its log level that brand, type and material carry."""

    brand: list[str]
    title: list[str]
    code: list[str]
    value: Floats


def draw_words(rng: np.random.Generator, config: Config, category: Ints) -> Words:
    """Draw the words of every category and dress the styles in them."""
    n = len(category)
    parts: dict[str, list[str]] = {}
    value = np.zeros(n)
    taken: set[str] = set()
    for kind, each, ends in (
        ("brand", _BRANDS, config.brand_sd),
        ("type", _TYPES, config.type_sd),
        ("material", _MATERIALS, config.material_sd),
    ):
        words = [[_word(rng, taken) for _ in range(each)] for _ in range(config.categories)]
        effect = rng.uniform(*ends, (config.categories, 1)) * rng.standard_normal((config.categories, each))
        effect -= effect.mean(axis=1, keepdims=True)
        # Some words are far commoner than others.
        share = 1.0 / np.arange(1, each + 1) ** 0.7
        which = rng.choice(each, n, p=share / share.sum())
        parts[kind] = [words[c][w] for c, w in zip(category, which, strict=True)]
        value += effect[category, which]
    colours = [_word(rng, taken) for _ in range(_COLOURS)]
    colour = rng.integers(_COLOURS, size=n)
    brands = [brand.capitalize() for brand in parts["brand"]]
    titles = [
        f"{brands[i]} {_word(rng, taken).capitalize()} {parts['material'][i]} {parts['type'][i]} {colours[colour[i]]}"
        for i in range(n)
    ]
    codes = [f"{brands[i][:2].upper()}{rng.integers(100, 1000)}-{i:04d}" for i in range(n)]
    return Words(brands, titles, codes, value)


def _word(rng: np.random.Generator, taken: set[str]) -> str:
    """Make up a word that is not taken yet."""
    while True:
        pick = rng.random(5)
        word = "".join(
            letters[int(share * len(letters))]
            for letters, share in zip((_START, _MIDDLE, _START, _MIDDLE, _END), pick, strict=True)
        )
        if word not in taken and word not in {"", "broken", "damaged", "faulty", "bundle", "spares"}:
            taken.add(word)
            return word
