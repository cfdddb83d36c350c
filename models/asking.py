"""Asking prices as the time to sell sees them: on the footing of the level, and as they were before the seller cut.

An export shows a listing's last asking price. What stood long was cut on the way, so the last price of what did not
sell is low *because* it did not sell, and taken at its face it says that cheap listings sell slowly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.response import read

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

YOUNG = 16.0  # days: hardly anyone cuts sooner
_FEWEST_YOUNG = 80
_SURE = 3.0  # robust spreads beyond which an asking price is no price of the item


def calibrate(
    gap: Floats, style_var: Floats, own_var: Floats, product: Ints, category: Ints, categories: int
) -> Floats:
    """Work out what was asked over the *true* level from what was asked over an estimate of it.

    An error of a style's level moves all its listings alike, so the mean of what its sellers seem to ask shows it, as
    far as that strays from the category's centre more than sellers do; what is each listing's own error draws it
    towards the centre (regression calibration: Carroll, Ruppert, Stefanski & Crainiceanu 2006, ch. 4). Left in, either
    error would flatten the response to the asking price.

    Parameters
    ----------
    gap : (n,) log asking price over the estimated level; nan where unknown.
    style_var, own_var : (n,) variance of the level's error that the style shares, and that each listing has.

    Returns
    -------
    x : (n,) best guess of the log asking price over the true level, nan where unknown.
    """
    x = np.full(len(gap), np.nan)
    known = np.isfinite(gap)
    products = int(product.max()) + 1 if len(product) else 0
    size = np.bincount(product[known], minlength=products)
    for index in range(categories):
        here = known & (category == index)
        pool = here if here.sum() >= 30 else known
        if pool.sum() < 5:
            x[here] = gap[here]
            continue
        centre = float(np.median(gap[pool]))
        total = _spread(gap[pool] - centre)
        many = pool & (size[product] >= 4)
        within = total
        if many.sum() >= 30:
            mean = np.bincount(product[many], gap[many], products) / np.maximum(size, 1)
            count = size[product[many]]
            within = min(_spread((gap[many] - mean[product[many]]) * np.sqrt(count / (count - 1.0))), total)
        own = float(np.mean(own_var[pool]))
        true2 = max(within**2 - own, 0.25 * within**2, 1e-4)
        away = np.clip(gap[here] - centre, -2.5 * total, 2.5 * total)
        noise = true2 + own_var[here]
        precision = np.bincount(product[here], 1.0 / noise, products)
        pull = np.bincount(product[here], away / noise, products)
        error = pull[product[here]] / (precision[product[here]] + 1.0 / np.maximum(style_var[here], 1e-6))
        x[here] = centre + (gap[here] - error - centre) * true2 / noise
    return x


def within_styles(gap: Floats, product: Ints) -> Floats:
    """Take from each listing what its style's listings have in common: (n,), nan where it has no such company.

    Compared within styles, neither an error of a style's level nor its speed can bend the response to the asking
    price (the within estimator; Mundlak 1978, Econometrica 46:69).
    """
    known = np.isfinite(gap)
    products = int(product.max()) + 1 if len(product) else 0
    size = np.bincount(product[known], minlength=products)
    centre = float(np.median(gap[known])) if known.any() else 0.0
    total = np.bincount(product[known], gap[known] - centre, products)
    return np.where(size[product] >= 3, gap - (total / np.maximum(size, 1))[product], np.nan)


def _spread(values: Floats) -> float:
    """Half the distance between the 16 % and 84 % points: the standard deviation of normal values."""
    low, high = np.quantile(values, [0.16, 0.84])
    return max(float(high - low) / 2, 1e-3)


def plausible(gap: Floats, variance: Floats, category: Ints, categories: int) -> NDArray[np.bool_]:
    """Tell asking prices of the item from those of lots and damaged pieces, which sell like any other at leverage."""
    kept = np.zeros(len(gap), dtype=bool)
    known = np.isfinite(gap)
    for index in range(categories):
        here = known & (category == index)
        pool = here if here.sum() >= 30 else known
        if pool.sum() < 10:
            kept |= here
            continue
        centre = float(np.median(gap[pool]))
        spread = max(1.4826 * float(np.median(np.abs(gap[pool] - centre))), 0.05)
        kept |= here & (np.abs(gap - centre) <= _SURE * np.sqrt(spread**2 + variance))
    return kept


def price_paths(
    x: Floats,
    duration: Floats,
    sold: Floats,
    young: NDArray[np.bool_],
    cuts: Floats,
    rate: Floats,
    response: Floats,
    shape: float,
) -> tuple[Floats, Floats]:
    """Work out what listings asked in each piece of age from what they asked last: (n, pieces), and the mean cuts.

    Parameters
    ----------
    x : (n,) last log asking price over level, centred by category. young : which were listed in the newest `YOUNG`
    days, whatever became of them: a fair sample of first asking prices. rate : (pieces,) usual daily hazard.

    Notes
    -----
    Of first asking prices the dear ones remain. How dear those that reach an age should be follows from the young
    sample and the hazard; how dear they are shows what was cut by then, and how much more they differ shows that
    some cut and some did not. A low last price was more likely cut, so first prices are drawn towards their mean
    (regression calibration again). All is shrunk to no cuts by its standard error.
    """
    pieces = len(cuts)
    paths = np.repeat(x[:, None], pieces, axis=1)
    start = x[young]
    if len(start) < _FEWEST_YOUNG:
        return paths, np.zeros(pieces)
    upper = np.append(cuts[1:], np.inf)
    first, cut = x.copy(), np.zeros(pieces)
    piece_of = np.clip(np.searchsorted(cuts, duration, side="left") - 1, 0, pieces - 1)
    for piece in range(1, pieces):
        if upper[piece] <= YOUNG:
            continue
        total, weight = 0.0, 0.0
        for event in (0.0, 1.0):
            here = (piece_of == piece) & (sold == event) & ~young
            if here.sum() < 20:
                continue
            spent = np.clip(float(np.mean(duration[here])) - cuts, 0.0, upper - cuts)
            hazard = float(rate @ spent) * np.exp(read(response, start))
            left = np.exp(-shape * np.log1p(hazard / shape))
            if event:
                left = left * np.exp(read(response, start)) / (1.0 + hazard / shape)
            left = left / left.sum()
            mean = float(left @ start)
            var = float(left @ (start - mean) ** 2)
            seen_mean, seen_var = float(np.mean(x[here])), float(np.var(x[here]))
            shift = max(mean - seen_mean, 0.0)
            sure = shift**2 / (shift**2 + var * (1.0 / len(start) + 1.0 / here.sum()))
            keep = 1.0 - sure * (1.0 - min(max(var / max(seen_var, 1e-9), 0.3), 1.0))
            first[here] = seen_mean + sure * shift + keep * (x[here] - seen_mean)
            total, weight = total + here.sum() * sure * shift, weight + here.sum()
        cut[piece] = total / weight if weight else 0.0
    cut = np.maximum.accumulate(cut)
    part = np.minimum(cut[None, :] / np.maximum(cut[piece_of], 1e-9)[:, None], 1.0)
    return np.where(cut[piece_of][:, None] > 0, first[:, None] - (first - x)[:, None] * part, paths), cut
