"""What the intake makes of a picture, as arrays; and the difference of two colours."""

import json
import subprocess
import tempfile

import numpy
from PIL import Image, ImageOps

import programs
from programs import REPOSITORY

ART = REPOSITORY / "tests" / "fixtures" / "art"
FORMATS = ART / "formats"
PROFILES = REPOSITORY / "tests" / "fixtures" / "icc"


def decode(path, longest_px=1024):
    """Opens a picture by the intake: what it says, and its pixels (height x width x 4), None where it refused."""
    program = programs.example("decode")
    with tempfile.NamedTemporaryFile() as out:
        done = subprocess.run([program, path, out.name, str(longest_px)], capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        said = json.loads(done.stdout)
        if "fault" in said:
            return said, None
        samples = numpy.fromfile(out.name, dtype=numpy.uint8)
    return said, samples.reshape(said["height_px"], said["width_px"], 4)


def close(pixels, wanted, most, mean):
    """Largest and mean difference of codes."""
    off = numpy.abs(pixels.astype(int) - wanted.astype(int))
    return off.max() <= most and off.mean() <= mean, (off.max(), off.mean())


def by_pillow(path):
    """A picture upright, as RGBA, by Pillow."""
    return numpy.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGBA"))


def lab(rgb):
    """CIE L*a*b* (D50) of sRGB codes; IEC 61966-2-1, adapted by Bradford's matrix (ICC.1:2022, annex E)."""
    share = numpy.asarray(rgb, dtype=float) / 255
    linear = numpy.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    to_xyz = numpy.array([[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]])
    ratio = linear @ to_xyz.T / numpy.array([0.96422, 1.0, 0.82521])
    root = numpy.where(ratio > (6 / 29) ** 3, numpy.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return numpy.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def delta_e_2000(one, two):
    """CIEDE2000 of two arrays of L*a*b*; Sharma, Wu and Dalal (2005), Color Research and Application 30(1), 21-30."""
    one, two = numpy.asarray(one, dtype=float), numpy.asarray(two, dtype=float)
    chroma = [numpy.hypot(c[..., 1], c[..., 2]) for c in (one, two)]
    mean7 = ((chroma[0] + chroma[1]) / 2) ** 7
    g = 0.5 * (1 - numpy.sqrt(mean7 / (mean7 + 25.0**7)))
    a = [(1 + g) * c[..., 1] for c in (one, two)]
    c = [numpy.hypot(a[i], colour[..., 2]) for i, colour in enumerate((one, two))]
    h = [numpy.degrees(numpy.arctan2(colour[..., 2], a[i])) % 360 for i, colour in enumerate((one, two))]
    grey = c[0] * c[1] == 0
    turn = h[1] - h[0]
    turn = numpy.where(turn > 180, turn - 360, numpy.where(turn < -180, turn + 360, turn))
    turn = numpy.where(grey, 0, turn)
    light, strength = two[..., 0] - one[..., 0], c[1] - c[0]
    hue = 2 * numpy.sqrt(c[0] * c[1]) * numpy.sin(numpy.radians(turn / 2))
    mean_l, mean_c, total = (one[..., 0] + two[..., 0]) / 2, (c[0] + c[1]) / 2, h[0] + h[1]
    mean_h = numpy.where(
        numpy.abs(h[0] - h[1]) <= 180, total / 2, numpy.where(total < 360, (total + 360) / 2, (total - 360) / 2)
    )
    mean_h = numpy.where(grey, total, mean_h)
    cos = lambda degrees: numpy.cos(numpy.radians(degrees))
    t = 1 - 0.17 * cos(mean_h - 30) + 0.24 * cos(2 * mean_h) + 0.32 * cos(3 * mean_h + 6) - 0.2 * cos(4 * mean_h - 63)
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / numpy.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    r_c = 2 * numpy.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    r_t = -numpy.sin(numpy.radians(60 * numpy.exp(-(((mean_h - 275) / 25) ** 2)))) * r_c
    l, s, u = light / s_l, strength / s_c, hue / s_h
    return numpy.sqrt(l**2 + s**2 + u**2 + r_t * s * u)
