"""What a title says about a style's price: word effects by ridge regression, for styles without sales of their own.

A hedonic model (Rosen 1974; the log price as a sum of effects of attributes) whose attributes are the words of the
title, on their own and within their category. It serves as the prior of a style's level, and its effects are plain
numbers by word, so that a check needs no fitting library.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_WORD = re.compile(r"[^\W_]{2,}")
_FEWEST_STYLES = 40
_LEAST_SEEN = 3  # styles that share a word before it is worth an effect
_MOST_WORDS = 20_000
_STRENGTHS = (1.0, 3.0, 10.0, 30.0, 100.0)
_FOLDS = 5


def words_of(title: str, category: str) -> list[str]:
    """Split a title into its features: each word, and each word within its category."""
    words = sorted({word for word in _WORD.findall(title.casefold()) if not word.isdigit()})
    return words + [f"{category}\t{word}" for word in words]


@dataclass(frozen=True)
class TitleFit:
    """Effects by feature, and (styles,) what the titles say about each style when its own fold is left out."""

    effects: dict[str, float]
    offsets: Floats


def fit_titles(
    titles: Sequence[str], categories: Sequence[str], target: Floats, weight: Floats, seed: int = 0
) -> TitleFit:
    """Fit word effects on styles.

    Parameters
    ----------
    titles, categories : (styles,). target : (styles,) log level over the brand's. weight : (styles,) its precision,
    0 where the style has no sale.

    Returns
    -------
    No effects at all where the titles do not foretell styles left out (cross-validation, Stone 1974).
    """
    nothing = TitleFit({}, np.zeros(len(titles)))
    known = weight > 0
    if known.sum() < _FEWEST_STYLES:
        return nothing
    from sklearn.feature_extraction.text import CountVectorizer
    from sklearn.linear_model import Ridge
    from sklearn.model_selection import KFold

    features = [words_of(title, category) for title, category in zip(titles, categories, strict=True)]
    counts = CountVectorizer(analyzer=lambda one: one, binary=True, min_df=_LEAST_SEEN, max_features=_MOST_WORDS)
    try:
        table = counts.fit_transform(features)
    except ValueError:  # no word is shared by enough styles
        return nothing
    each = np.flatnonzero(known)
    share = weight / weight[known].mean()
    folds = list(KFold(_FOLDS, shuffle=True, random_state=seed).split(each))
    best, offsets = float(np.sum(share[each] * target[each] ** 2)), None
    strength = 0.0
    for alpha in _STRENGTHS:
        found = np.zeros(len(titles))
        for train, test in folds:
            model = Ridge(alpha=alpha, fit_intercept=False)
            model.fit(table[each[train]], target[each[train]], sample_weight=share[each[train]])
            found[each[test]] = model.predict(table[each[test]])
        loss = float(np.sum(share[each] * (target[each] - found[each]) ** 2))
        if loss < best * 0.995:
            best, offsets, strength = loss, found, alpha
    if offsets is None:
        return nothing
    model = Ridge(alpha=strength, fit_intercept=False)
    model.fit(table[each], target[each], sample_weight=share[each])
    offsets[~known] = model.predict(table[np.flatnonzero(~known)]) if (~known).any() else 0.0
    effects = dict(zip(counts.get_feature_names_out(), np.round(model.coef_, 5).tolist(), strict=True))
    return TitleFit({word: effect for word, effect in effects.items() if abs(effect) >= 5e-4}, offsets)


def title_offset(effects: dict[str, float], title: str, category: str) -> float:
    """What a title says about a style's log price over its brand's."""
    return sum(effects.get(word, 0.0) for word in words_of(title, category)) if effects and title else 0.0
