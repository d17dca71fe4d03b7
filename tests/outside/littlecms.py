"""What LittleCMS (through Pillow) makes of colours, and pictures of colours to ask it about."""

import io

import numpy
from PIL import Image, ImageCms


def reference(picture):
    """LittleCMS from a picture's own profile to sRGB."""
    own = ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
    return numpy.asarray(ImageCms.profileToProfile(
        picture, own, ImageCms.createProfile("sRGB"), renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB", flags=ImageCms.Flags.NOCACHE | ImageCms.Flags.NOOPTIMIZE,
    ))


def every_colour(mode, steps, block=4):
    """A picture with a grid of all colours of a mode, each a block of 4 x 4 (or more) so that no filter matters."""
    channels = {"RGB": 3, "L": 1, "CMYK": 4}[mode]
    codes = numpy.linspace(0, 255, steps).round().astype(numpy.uint8)
    grid = numpy.stack(numpy.meshgrid(*[codes] * channels, indexing="ij"), axis=-1).reshape(-1, channels)
    width = int(numpy.ceil(numpy.sqrt(len(grid))))
    padded = numpy.zeros((width * width, channels), dtype=numpy.uint8)
    padded[: len(grid)] = grid
    pixels = padded.reshape(width, width, channels).repeat(block, axis=0).repeat(block, axis=1)
    return Image.fromarray(pixels[..., 0] if channels == 1 else pixels, mode)
