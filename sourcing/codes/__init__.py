"""Product codes: GTINs and their classes, UPC-E, ISBN, and style codes as makers print them."""

from sourcing.codes.gtin import check_digit, compress_upce, expand_upce, isbn10_to_13, isbn13_to_10
from sourcing.codes.kinds import Kind, classify
from sourcing.codes.parse import Code, gtin_key, parse_code
from sourcing.codes.style import closest, style_key

__all__ = [
    "Code",
    "Kind",
    "check_digit",
    "classify",
    "closest",
    "compress_upce",
    "expand_upce",
    "gtin_key",
    "isbn10_to_13",
    "isbn13_to_10",
    "parse_code",
    "style_key",
]
