"""What kind of market is drawn: ranges from which each seed draws its parameters, and the named variants."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

AS_OF = date(2025, 11, 4)  # day DAYS of every market; long past, so that no loader takes a day for a future one
DAYS = 400
HURDLE = 12.00  # least expected profit of a buy
CATEGORIES = ("shoes", "clothing", "toys", "games", "housewares", "bags")
HORIZONS = (14, 30, 60, 90)

AgeShape = Literal["constant", "decaying", "humped"]
Demand = Literal["power", "cliff"]
Speeds = Literal["gamma", "two-point", "mixture"]
Asks = Literal["normal", "camps"]
Range = tuple[float, float]


@dataclass(frozen=True)
class Config:
    """One kind of market. Pairs are the ends of a uniform draw, made anew for each seed (and category, where said).

    Prices are logs of what the buyer pays in all; days are whole days; hazards are chances of a sale a day.
    """

    name: str = "standard"
    categories: int = 6
    styles: int = 1_500
    listings: tuple[int, int] = (18_000, 20_000)  # listed within the days
    shelf: int = 600  # items to judge
    tag: float = 1.0  # shelf prices, as a share of what leaves the hurdle when sold at the level
    rate_spread: Range = (1.2, 1.4)  # sd of the log of a style's share of the listings
    # Levels, by category.
    level: Range = (3.65, 4.40)
    brand_sd: Range = (0.15, 0.28)
    type_sd: Range = (0.12, 0.22)  # of the title's word for the type of goods
    material_sd: Range = (0.06, 0.14)  # of the title's word for the material
    style_sd: Range = (0.11, 0.17)  # of what no word says
    size_sd: Range = (0.02, 0.05)
    drift: Range = (-0.15, 0.12)  # a year
    price_season: Range = (0.0, 0.04)
    no_box: Range = (-0.15, -0.07)
    used: Range = (-0.50, -0.30)
    # Asking prices and haggling, by category.
    ask_centre: Range = (0.07, 0.13)  # log asking price over the level when listed
    ask_sd: Range = (0.055, 0.085)
    haggle: Range = (-0.05, -0.02)
    haggle_sd: Range = (0.02, 0.035)
    cutters: Range = (0.50, 0.75)  # share of sellers who cut
    cut: Range = (0.03, 0.055)  # log of each cut, every 21 days, three times
    # Time to sell, by category.
    hazard: Range = (0.022, 0.042)  # at an asking price of the level, for a style of usual speed
    elasticity: Range = (-4.0, -1.8)
    speed_season: Range = (0.05, 0.25)
    speed_shape: Range = (1.6, 3.0)  # of the gamma speeds, one for all
    leave: Range = (400.0, 600.0)  # mean days until a seller takes a listing down
    # Shares of rows spoilt.
    lots: float = 0.025
    damaged: float = 0.025
    wrong_code: float = 0.01  # another style's code of the same brand
    garbled_code: float = 0.01  # a code of no style
    no_code: float = 0.03
    no_gtin: float = 0.30
    bad_gtin: float = 0.01
    no_dates: float = 0.05
    no_ask: float = 0.06
    spelling: float = 0.15  # style code in another case or with other marks
    unsaid: bool = False  # lots and damaged pieces do not say what they are
    stale_open: bool = False  # the earlier export also holds listings open on its day, sold or ended in the later one
    # Shapes a textbook does not have.
    turn: Range = (0.0, 0.0)  # change of the drift a year from day 220 on, for all categories
    age: AgeShape = "constant"
    demand: Demand = "power"
    speeds: Speeds = "gamma"
    asks: Asks = "normal"
    steps: float = 0.0  # share of styles whose level steps on a random day
    step: float = 0.25  # by how much, up or down
    undercut: float = 0.0  # fall of the log hazard for each cheaper open listing of the style, up to five
    # What the files leave out.
    sold_only: bool = False
    open_only: bool = False
    undated: bool = False
    textbook: bool = False  # whether a reader who believes a textbook's shapes is of interest


STANDARD = Config()
_WRONG = replace(STANDARD, textbook=True)
VARIANTS: dict[str, Config] = {
    config.name: config
    for config in (
        STANDARD,
        replace(STANDARD, name="sold only", sold_only=True),
        replace(STANDARD, name="no dates", undated=True),
        replace(STANDARD, name="open only", open_only=True),
        replace(STANDARD, name="60 rows", styles=20, listings=(60, 60), shelf=60, categories=2),
        replace(STANDARD, name="one category", categories=1, styles=400, listings=(5_000, 6_000), shelf=400),
        replace(STANDARD, name="thick styles", styles=150, rate_spread=(0.3, 0.5), shelf=300),
        replace(STANDARD, name="wide asks", ask_centre=(0.15, 0.28), ask_sd=(0.16, 0.24)),
        replace(STANDARD, name="turning", turn=(-0.7, -0.4)),
        replace(STANDARD, name="stale exports", stale_open=True),
        replace(STANDARD, name="unsaid dirt", unsaid=True),
        replace(_WRONG, name="decaying", age="decaying"),
        replace(_WRONG, name="humped", age="humped"),
        replace(_WRONG, name="cliff", demand="cliff", tag=0.85),
        replace(_WRONG, name="two speeds", speeds="two-point"),
        replace(_WRONG, name="mixed speeds", speeds="mixture"),
        replace(_WRONG, name="camps", asks="camps"),
        replace(_WRONG, name="steps", steps=0.35),
        replace(_WRONG, name="undercut", undercut=0.25),
        replace(
            _WRONG,
            name="all wrong",
            age="humped",
            demand="cliff",
            speeds="mixture",
            asks="camps",
            steps=0.35,
            undercut=0.25,
            tag=0.7,
        ),
    )
}
