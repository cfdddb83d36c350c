"""Write the sample files: an invented market with a known way of selling. Run: python sample_comps/generate.py"""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
END = date(2026, 11, 20)
COLUMNS = [
    "gtin",
    "style_code",
    "brand",
    "category",
    "title",
    "size",
    "condition",
    "channel",
    "asking_price",
    "sold_price",
    "shipping_charged",
    "listed_on",
    "ended_on",
    "status",
    "note",
]
# Invented words throughout: brands, channels, product names.
BRANDS = {
    "shoes": ["Farrowick", "Ostenby", "Quillmere", "Tarnlow", "Brackenu"],
    "clothing": ["Ostenby", "Wexholt", "Lindarra"],
    "toys": ["Plumbago Works", "Tinkerholm"],
    "games": ["Dicewold", "Marrowgate Games"],
    "housewares": ["Kettleby Row", "Hobbenware"],
}
NOUNS = {
    "shoes": ["trail runner", "court trainer", "ankle boot", "slip-on", "loafer"],
    "clothing": ["rain jacket", "fleece", "work shirt"],
    "toys": ["marble run", "wooden train set"],
    "games": ["harbour board game", "card duel"],
    "housewares": ["cast pan", "enamel kettle"],
}
STYLES = {"shoes": 100, "clothing": 55, "toys": 35, "games": 30, "housewares": 30}
LEVEL = {"shoes": 3.9, "clothing": 3.3, "toys": 3.2, "games": 3.1, "housewares": 3.4}
DAILY = {"shoes": 0.028, "clothing": 0.018, "toys": 0.022, "games": 0.03, "housewares": 0.015}
SIZES = {"shoes": ["7", "8", "8.5", "9", "10", "11"], "clothing": ["S", "M", "L", "XL"]}


def check_digit(body: str) -> str:
    """Return the GS1 mod-10 check digit."""
    return str(-sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(body))) % 10)


def styles(rng: np.random.Generator) -> list[dict[str, object]]:
    """Draw the styles: brand, code, level, speed, and a barcode for each size."""
    found: list[dict[str, object]] = []
    number = 0
    for category, count in STYLES.items():
        brand_effect = {brand: rng.normal(0, 0.22) for brand in BRANDS[category]}
        for _ in range(count):
            brand = str(rng.choice(BRANDS[category]))
            sizes = SIZES.get(category, [""])
            bodies = [f"952{number * 10 + i:09d}" for i in range(len(sizes))]
            colour = rng.choice(["slate", "ochre", "moss", "chalk", "rust"])
            found.append(
                {
                    "category": category,
                    "brand": brand,
                    "sizes": sizes,
                    "gtins": [body + check_digit(body) for body in bodies],
                    "style_code": f"{brand[:2].upper()}{rng.integers(100, 999)}-{number:03d}",
                    "title": f"{brand} {rng.choice(NOUNS[category])} {colour}",
                    "level": LEVEL[category] + brand_effect[brand] + rng.normal(0, 0.28),
                    "frailty": rng.gamma(2.0, 0.5),
                    "share": min(rng.pareto(1.3) + 0.05, 4.0),
                }
            )
            number += 1
    return found


def listing(rng: np.random.Generator, style: dict[str, object]) -> dict[str, str]:
    """Draw one listing: an asking price, then a sale by a hazard that falls with it, or none yet."""
    sizes = style["sizes"]
    assert isinstance(sizes, list)
    at = int(rng.integers(len(sizes)))
    condition = str(rng.choice(["new", "new, no box", "used"], p=[0.7, 0.18, 0.12]))
    level = float(style["level"]) + {"new": 0.0, "new, no box": -0.12, "used": -0.45}[condition]  # type: ignore[arg-type]
    title, note = str(style["title"]), ""
    if rng.random() < 0.02:
        title, level = f"Lot of 3 {title}", level + 0.95
    elif rng.random() < 0.02:
        note, level = "damaged, sold as seen", level - 0.9
    x = rng.normal(0.07, 0.17)
    ask = max(round(float(np.exp(level + x))) - 0.01, 3.99)
    hazard = float(style["frailty"]) * DAILY[str(style["category"])] * np.exp(-2.4 * x)  # type: ignore[arg-type]
    sells, leaves = rng.exponential(1 / hazard), rng.exponential(150.0)
    listed = END - timedelta(days=int(rng.integers(1, 300)))
    days = int(min(sells, leaves)) + 1
    status = (
        "open" if listed + timedelta(days=days) > END else ("sold" if sells <= leaves else "ended unsold")
    )
    sold = max(ask * float(np.exp(min(rng.normal(-0.05, 0.05), 0.0))), 1.0)
    ship = float(rng.choice([0.0, 4.95, 6.95], p=[0.6, 0.2, 0.2]))
    code, gtin = str(style["style_code"]), style["gtins"][at]  # type: ignore[index]
    if rng.random() < 0.12:
        code = str(rng.choice([code.lower(), code.replace("-", " "), code.replace("-", "")]))
    if rng.random() < 0.02:
        gtin = gtin[:-1] + str((int(gtin[-1]) + 3) % 10)  # mistyped: the check digit tells
    return {
        "gtin": "" if rng.random() < 0.25 else gtin,
        "style_code": "" if rng.random() < 0.03 and "lot" not in title.lower() else code,
        "brand": str(style["brand"]),
        "category": str(style["category"]),
        "title": title,
        "size": sizes[at],
        "condition": condition,
        "channel": str(rng.choice(["market hall", "own page"])),
        "asking_price": "" if rng.random() < 0.08 else f"{max(ask - ship, 1):.2f}",
        "sold_price": f"{max(sold - ship, 1):.2f}" if status == "sold" else "",
        "shipping_charged": f"{ship:.2f}",
        "listed_on": "" if rng.random() < 0.05 else listed.isoformat(),
        "ended_on": "" if status == "open" else (listed + timedelta(days=days)).isoformat(),
        "status": status,
        "note": note,
    }


def write(name: str, columns: list[str], rows: list[dict[str, str]]) -> None:
    """Write one CSV with the columns in order."""
    with (HERE / name).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Write every file anew; the same bytes each time."""
    rng = np.random.default_rng(20261120)
    kinds = styles(rng)
    share = np.array([float(style["share"]) for style in kinds])  # type: ignore[arg-type]
    rows = [listing(rng, kinds[i]) for i in rng.choice(len(kinds), 2200, p=share / share.sum())]
    rows.sort(key=lambda row: row["ended_on"] or row["listed_on"] or "9")
    write("spring_sales.csv", COLUMNS, rows[:1200])
    write("summer_and_autumn.csv", COLUMNS, rows[1100:])
    shelf = []
    for i in rng.choice(len(kinds), 34, p=share / share.sum()):
        style = kinds[i]
        price = np.exp(float(style["level"])) * rng.uniform(0.15, 0.8)  # type: ignore[arg-type]
        shelf.append(
            {
                "code": str(rng.choice([style["style_code"], style["gtins"][0]])),  # type: ignore[index]
                "shelf_price": f"{round(price) - 0.01:.2f}",
                "brand": "",
                "category": "",
                "title": "",
                "size": "",
                "condition": "",
            }
        )
    odd = [
        ("ZZ999-XYZ", "12.99", "shoes"),
        ("2001234567893", "9.99", "shoes"),
        ("9520000000008", "9.99", "toys"),
        (kinds[3]["style_code"], "", "shoes"),
        (kinds[4]["style_code"], "12,5o", ""),
        ("", "8.00", "games"),
    ]
    for code, price, category in odd:
        shelf.append(
            {
                "code": str(code),
                "shelf_price": price,
                "brand": "",
                "category": category,
                "title": "",
                "size": "",
                "condition": "",
            }
        )
    write("shelf_list.csv", ["code", "shelf_price", "brand", "category", "title", "size", "condition"], shelf)
    write(
        "broken_on_purpose.csv",
        COLUMNS,
        [
            {**rows[0], "sold_price": "12,5o", "status": "sold"},
            {**rows[1], "listed_on": "2026-02-30"},
            {**rows[2], "gtin": "", "style_code": "", "title": ""},
            {**rows[3], "sold_price": "-4.00", "status": "sold"},
            {**rows[4], "title": '<b>bold</b> & a quote "'},
            {**rows[5], "status": "perhaps"},
        ],
    )
    barcodes(kinds)


def barcodes(kinds: list[dict[str, object]]) -> None:
    """Draw a few labels to scan: upright, turned, and one that shows an in-store tag beside the maker's code."""
    import zxingcpp
    from PIL import Image

    folder = HERE / "barcodes"
    folder.mkdir(exist_ok=True)
    busiest = sorted(kinds, key=lambda style: -float(style["share"]))[:3]  # type: ignore[arg-type]

    def label(code: str) -> Image.Image:
        made = zxingcpp.create_barcode(code, zxingcpp.BarcodeFormat.EAN13)
        return Image.fromarray(np.asarray(zxingcpp.write_barcode_to_image(made, scale=4))).convert("L")

    def page(parts: list[Image.Image], turn: float) -> Image.Image:
        wide = max(part.width for part in parts) + 160
        sheet = Image.new("L", (wide, sum(part.height + 80 for part in parts) + 80), 205)
        top = 80
        for part in parts:
            sheet.paste(part, (80, top))
            top += part.height + 80
        return sheet.rotate(turn, Image.Resampling.BICUBIC, expand=True, fillcolor=150)

    codes = [style["gtins"][0] for style in busiest]  # type: ignore[index]
    page([label(codes[0])], 0).save(folder / "upright.png")
    page([label(codes[1])], 9).save(folder / "turned.png")
    page([label("2001234567893"), label(codes[2])], 3).save(folder / "with_store_tag.png")


if __name__ == "__main__":
    main()
