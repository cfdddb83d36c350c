"""Write the sample files: an invented market with a known way of selling. Run: python sample_comps/generate.py"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
END = date(2026, 11, 20)
UNKNOWN = "952999999999"
STORE_TAG = "2001234567893"  # a number that a shop prints itself: it says nothing elsewhere
CLOCK = re.compile(rb"<dcterms:(?:created|modified)[^>]*>[^<]*</dcterms:(?:created|modified)>")
ASKED = dict.fromkeys(("code", "shelf_price", "brand", "category", "title", "size", "condition"), "")
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
STYLES = {"shoes": 130, "clothing": 60, "toys": 40, "games": 35, "housewares": 35}
LEVEL = {"shoes": 3.9, "clothing": 3.3, "toys": 3.2, "games": 3.1, "housewares": 3.4}
DAILY = {"shoes": 0.028, "clothing": 0.018, "toys": 0.022, "games": 0.03, "housewares": 0.015}
SIZES = {"shoes": ["7", "8", "8.5", "9", "10", "11"], "clothing": ["S", "M", "L", "XL"]}


def check_digit(body: str) -> str:
    """Return the GS1 mod-10 check digit."""
    return str(-sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(body))) % 10)


def styles(rng: np.random.Generator) -> list[dict[str, Any]]:
    """Draw the styles: brand, code, level, speed, and a barcode for each size."""
    found: list[dict[str, Any]] = []
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


def listing(rng: np.random.Generator, style: dict[str, Any]) -> dict[str, str]:
    """Draw one listing: an asking price, then a sale by a hazard that falls with it, or none yet."""
    sizes = style["sizes"]
    at = int(rng.integers(len(sizes)))
    condition = str(rng.choice(["new", "new, no box", "used"], p=[0.7, 0.18, 0.12]))
    level = style["level"] + {"new": 0.0, "new, no box": -0.12, "used": -0.45}[condition]
    title, note = str(style["title"]), ""
    if rng.random() < 0.02:
        title, level = f"Lot of 3 {title}", level + 0.95
    elif rng.random() < 0.02:
        note, level = "damaged, sold as seen", level - 0.9
    x = rng.normal(0.07, 0.17)
    ask = max(round(float(np.exp(level + x))) - 0.01, 3.99)
    hazard = style["frailty"] * DAILY[str(style["category"])] * np.exp(-2.4 * x)
    sells, leaves = rng.exponential(1 / hazard), rng.exponential(220.0)
    listed = END - timedelta(days=int(rng.integers(1, 300)))
    days = int(min(sells, leaves)) + 1
    status = "open" if listed + timedelta(days=days) > END else ("sold" if sells <= leaves else "ended unsold")
    sold = max(ask * float(np.exp(min(rng.normal(-0.05, 0.05), 0.0))), 1.0)
    ship = float(rng.choice([0.0, 4.95, 6.95], p=[0.6, 0.2, 0.2]))
    code, gtin = str(style["style_code"]), style["gtins"][at]
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


def write_workbook(name: str, columns: list[str], rows: list[dict[str, str]]) -> None:
    """Write one workbook with true numbers and dates; its clock and its packing are fixed, so its bytes are too."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.title = "invented comps"
    sheet.append(columns)
    for row in rows:
        sheet.append([cell(column, row[column]) for column in columns])
    loose, fixed = io.BytesIO(), io.BytesIO()
    book.save(loose)
    with zipfile.ZipFile(loose) as source, zipfile.ZipFile(fixed, "w") as target:
        for part in source.namelist():
            data = source.read(part)
            if part == "docProps/core.xml":
                data = b"".join(CLOCK.split(data))
            target.writestr(zipfile.ZipInfo(part, (END.year, END.month, END.day, 0, 0, 0)), data)
    (HERE / name).write_bytes(fixed.getvalue())


def cell(column: str, text: str) -> Any:
    """Turn a cell's text into what a spreadsheet holds."""
    if not text:
        return None
    if column in ("asking_price", "sold_price", "shipping_charged"):
        return float(text)
    if column in ("listed_on", "ended_on"):
        return date.fromisoformat(text)
    return text


def main() -> None:
    """Write every file anew; the same bytes each time."""
    rng = np.random.default_rng(20261120)
    kinds = styles(rng)
    share = np.array([style["share"] for style in kinds])
    rows = [listing(rng, kinds[i]) for i in rng.choice(len(kinds), 2500, p=share / share.sum())]
    rows.sort(key=lambda row: row["ended_on"] or row["listed_on"] or "9")
    exported = [row for row in rows if row["category"] != "housewares"]
    write("spring_sales.csv", COLUMNS, exported[:1200])
    write("summer_and_autumn.csv", COLUMNS, exported[1100:])
    write_workbook("housewares.xlsx", COLUMNS, [row for row in rows if row["category"] == "housewares"])
    write("shelf_list.csv", list(ASKED), shelf_list(rng, kinds, share))
    write("broken_on_purpose.csv", COLUMNS, broken(rows))
    with (HERE / "broken_on_purpose.csv").open("a", newline="", encoding="utf-8") as file:
        file.write("9520000000004,AB1,three cells\r\n")  # ragged: a writer of columns cannot write these
        file.write(",".join(rows[6].values()).replace("\n", " ") + ",one,too many\r\n")
    pictures(kinds)


def shelf_list(rng: np.random.Generator, kinds: list[dict[str, Any]], share: Any) -> list[dict[str, str]]:
    """Draw what a shop run might see: known styles at all prices, then the odd ones."""
    found = []
    for i in rng.choice(len(kinds), 32, p=share / share.sum()):
        style = kinds[i]
        at = int(rng.integers(len(style["sizes"])))
        price = np.exp(style["level"]) * rng.uniform(0.1, 0.7)
        code = str(rng.choice([style["style_code"], style["style_code"].lower(), style["gtins"][at]]))
        asked = {"code": code, "shelf_price": f"{max(round(price), 1) - 0.01:.2f}"}
        if rng.random() < 0.5:
            asked["size"] = style["sizes"][at]
        if rng.random() < 0.2:
            asked["condition"] = "new, no box"
        found.append(ASKED | asked)
    first, second = np.argsort(-share)[:2]  # the busiest styles, so that only the price is at fault
    unknown = {"brand": "Farrowick", "category": "shoes"}
    odd: list[dict[str, str]] = [
        {"code": "ZZ999-XYZ", "shelf_price": "12.99", **unknown},
        {"code": UNKNOWN + check_digit(UNKNOWN), "shelf_price": "12.99", "category": "games", "title": "board game"},
        {"code": STORE_TAG, "shelf_price": "9.99", "category": "shoes"},
        {"code": "9520000000008", "shelf_price": "9.99", "category": "toys"},
        {"code": kinds[first]["style_code"]},
        {"code": kinds[second]["style_code"], "shelf_price": "12,5o"},
        {"shelf_price": "8.00", "category": "games"},
        {"shelf_price": "8.00", "brand": kinds[0]["brand"], "category": "shoes", "title": kinds[0]["title"]},
    ]
    return found + [ASKED | one for one in odd]


def broken(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Spoil some rows, each in its own way; the HTML title is odd but good."""
    return [
        {**rows[0], "sold_price": "12,5o", "status": "sold"},
        {**rows[1], "listed_on": "2026-02-30"},
        {**rows[2], "gtin": "", "style_code": "", "title": ""},
        {**rows[3], "sold_price": "-4.00", "status": "sold"},
        {**rows[4], "title": '<b>bold</b> & a quote "'},
        {**rows[5], "status": "perhaps"},
        {**rows[7], "sold_price": "", "status": "sold"},
        {**rows[8], "asking_price": "cheap"},
        {**rows[9], "listed_on": "2026-05-02", "ended_on": "2026-05-01", "sold_price": "20", "status": "sold"},
    ]


def pictures(kinds: list[dict[str, Any]]) -> None:
    """Draw labels to photograph: on a cluttered shelf, turned, blurred, beside an in-store tag, one past reading."""
    import zxingcpp
    from PIL import Image, ImageDraw, ImageFilter

    rng = np.random.default_rng(952)
    folder = HERE / "barcodes"
    folder.mkdir(exist_ok=True)
    busiest = sorted(kinds, key=lambda style: -style["share"])[:7]

    def label(code: str) -> Image.Image:
        made = zxingcpp.create_barcode(code, zxingcpp.BarcodeFormat.EAN13)
        bars = Image.fromarray(np.asarray(zxingcpp.write_barcode_to_image(made, scale=3))).convert("RGB")
        sheet = Image.new("RGB", (bars.width + 40, bars.height + 70), (250, 249, 244))
        sheet.paste(bars, (20, 15))
        ImageDraw.Draw(sheet).text((30, bars.height + 22), f"{code}  INVENTED", fill=(40, 40, 40), font_size=24)
        return sheet

    def shelf(codes: list[str], turn: float, blur: float = 0.0, light: float = 1.0) -> Image.Image:
        parts = [label(code) for code in codes]
        scene = Image.new("RGB", (900, 380 * len(parts) + 320), (150, 140, 128))
        draw = ImageDraw.Draw(scene)
        for _ in range(60):  # boxes and stripes, as on a shelf
            x, y = int(rng.integers(-80, 900)), int(rng.integers(-80, scene.height))
            box = (x, y, x + int(rng.integers(30, 220)), y + int(rng.integers(6, 160)))
            draw.rectangle(box, fill=tuple(int(v) for v in rng.integers(40, 220, 3)))
        for at, part in enumerate(parts):
            turned = part.convert("RGBA").rotate(turn, Image.Resampling.BICUBIC, expand=True)
            scene.paste(turned, ((900 - turned.width) // 2, 160 + at * 380), turned)
        if blur:
            scene = scene.filter(ImageFilter.GaussianBlur(blur))
        noisy = np.asarray(scene, float) * light + rng.normal(0, 5, (scene.height, scene.width, 1))
        return Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8))

    codes = [str(style["gtins"][0]) for style in busiest]
    shelf([codes[0]], 0).save(folder / "upright.jpg", quality=88)
    shelf([codes[1]], 7).save(folder / "turned.jpg", quality=88)
    shelf([codes[2], STORE_TAG], 2).save(folder / "with_store_tag.jpg", quality=88)
    shelf([codes[3]], 90).save(folder / "on_its_side.jpg", quality=88)
    shelf([codes[4]], -3, light=0.4).save(folder / "dark.jpg", quality=88)
    shelf([codes[5]], 4, blur=1.2).save(folder / "a_little_blurred.jpg", quality=80)
    shelf([codes[6]], 178).quantize(32, dither=Image.Dither.NONE).save(folder / "upside_down.png", optimize=True)
    shelf([codes[0]], 3, blur=9.0).save(folder / "unreadable.jpg", quality=70)


if __name__ == "__main__":
    main()
