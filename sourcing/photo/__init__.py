"""Read the product code in a photo."""

from sourcing.photo.picture import LARGEST, PIXELS
from sourcing.photo.reading import PhotoReading, Seen, read_photo

__all__ = ["LARGEST", "PIXELS", "PhotoReading", "Seen", "read_photo"]
