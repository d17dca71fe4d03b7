"""Print colours against LittleCMS (through Pillow): the same coated profile, relative colorimetric, no black point compensation,
both ways. Whether a colour is outside the gamut is judged there as here, by correcting inks by what they miss."""

import csv
import io
import json
from pathlib import Path
import subprocess

import numpy
from PIL import Image, ImageCms
import pytest

from intake import FORMATS, PROFILES, delta_e_2000, lab
import programs
from reports import report

CLIPS = programs.REPOSITORY / "tests" / "fixtures" / "art" / "clip"
STOCK = {"stock": "coated", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}, "colour": "cmyk"}
COATED = ImageCms.ImageCmsProfile(io.BytesIO((PROFILES / "coated_39l.icc").read_bytes()))
SRGB, LAB = ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB")
# As the product has them: the grain of the profile's table, rising in the dark to that of its black.
GRAIN, DARK_GRAIN, DARK_L = 1.5, 5.0, 20.0


def transform(one, other, from_mode, to_mode):
    return ImageCms.buildTransform(
        one, other, from_mode, to_mode, ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.NOCACHE | ImageCms.Flags.NOOPTIMIZE,
    )


TO_INKS = transform(SRGB, COATED, "RGB", "CMYK")
TO_SRGB = transform(COATED, SRGB, "CMYK", "RGB")
INKS_TO_LAB = transform(COATED, LAB, "CMYK", "LAB")
LAB_TO_INKS = transform(LAB, COATED, "LAB", "CMYK")


def row(colours, mode):
    return Image.frombytes(mode, (len(colours), 1), numpy.ascontiguousarray(colours, dtype=numpy.uint8).tobytes())


def through(way, colours, mode):
    """Colours as bytes through a transform."""
    done = ImageCms.applyTransform(row(colours, mode), way)
    return numpy.asarray(done).reshape(len(colours), -1)


def shown(inks):
    """L*a*b* of inks, from Pillow's bytes."""
    codes = through(INKS_TO_LAB, inks, "CMYK").astype(int)
    return numpy.stack([codes[:, 0] / 2.55, (codes[:, 1] + 128) % 256 - 128.0, (codes[:, 2] + 128) % 256 - 128.0], axis=-1)


def inks_for(colours):
    bounded = numpy.clip(colours, [0, -127, -127], [100, 127, 127])
    codes = numpy.stack([(bounded[:, 0] * 2.55).round(), bounded[:, 1].round() % 256, bounded[:, 2].round() % 256], axis=-1)
    return through(LAB_TO_INKS, codes, "LAB")


def judged(colours):
    """What is printed off, and what is beyond the gamut, by LittleCMS alone."""
    black = shown(through(TO_INKS, numpy.zeros((1, 3)), "RGB"))[0, 0]
    wanted = lab(colours)
    wanted[:, 0] = numpy.maximum(wanted[:, 0], black)
    printed = delta_e_2000(wanted, shown(through(TO_INKS, colours, "RGB")))
    nearest, aim, found = printed, wanted, shown(through(TO_INKS, colours, "RGB"))
    for _ in range(4):
        aim = aim + wanted - found
        found = shown(inks_for(aim))
        nearest = numpy.minimum(nearest, delta_e_2000(wanted, found))
    dark = numpy.clip((DARK_L - wanted[:, 0]) / (DARK_L - black), 0, 1)
    return printed, nearest - GRAIN - (DARK_GRAIN - GRAIN) * dark


def ours(colours):
    """The same by the product: inks, what they show, printed, beyond, all inks in percent."""
    sent = numpy.ascontiguousarray(colours, dtype=numpy.uint8).tobytes()
    done = subprocess.run([programs.example("colours")], input=sent, capture_output=True, check=True, timeout=60)
    kind = numpy.dtype([("inks", "u1", 4), ("shown", "u1", 3), ("printed", "<f4"), ("beyond", "<f4"), ("percent", "<f4")])
    return numpy.frombuffer(done.stdout, dtype=kind)


def cube(steps):
    codes = numpy.linspace(0, 255, steps).round().astype(numpy.uint8)
    return numpy.stack(numpy.meshgrid(codes, codes, codes, indexing="ij"), axis=-1).reshape(-1, 3)


def inks_that_srgb_has(count, seed):
    """Random inks up to 300 %, and the sRGB that shows them; those that sRGB cannot show are left out."""
    inks = numpy.random.default_rng(seed).integers(0, 256, (count, 4))
    inks = inks[inks.sum(axis=1) <= 3 * 255]
    colours = through(TO_SRGB, inks, "CMYK")
    return colours[delta_e_2000(shown(inks), lab(colours)) < 1]


@pytest.fixture
def preflight(quoin, tmp_path):
    def ask(picture, stock=STOCK, settings="", **item):
        name = "art.png"
        if isinstance(picture, Path):
            name = picture.name
            (tmp_path / name).write_bytes(picture.read_bytes())
        else:
            Image.fromarray(numpy.ascontiguousarray(picture, dtype=numpy.uint8)).save(tmp_path / name)
        request = {"item": {"art": {"file": name}, "size": {"longest_mm": 50}, **item}, "stock": stock}
        (tmp_path / "quoin.toml").write_text(settings)
        return report(quoin, tmp_path, request, "--settings", tmp_path / "quoin.toml")

    return ask


def told(report, code):
    return next((finding for finding in report["findings"] if finding["code"] == code), None)


def test_colours_are_printed_as_littlecms_prints_them():
    """Two engines interpolate one small table: a mean of 0.5 over the whole cube, 99 of 100 colours within 3."""
    colours = cube(17)
    product = ours(colours)
    off = delta_e_2000(shown(product["inks"]), shown(through(TO_INKS, colours, "RGB")))
    assert off.mean() <= 0.5 and numpy.percentile(off, 99) <= 3, (off.mean(), numpy.percentile(off, 99), off.max())
    back = delta_e_2000(lab(product["shown"]), lab(through(TO_SRGB, product["inks"], "CMYK")))
    assert back.mean() <= 0.5 and numpy.percentile(back, 99) <= 2, (back.mean(), back.max())
    total = through(TO_INKS, colours, "RGB").astype(int).sum(axis=1) / 2.55
    # Of single colours inks are told from a table of 25 steps.
    assert numpy.abs(total - product["percent"]).mean() <= 3


def test_what_is_off_in_print_and_what_is_beyond_the_gamut_are_littlecms():
    colours = cube(15)
    product, (printed, beyond) = ours(colours), judged(colours)
    assert numpy.abs(product["printed"] - printed).mean() <= 0.4, numpy.abs(product["printed"] - printed).mean()
    same = (product["beyond"] > 0) == (beyond > 0)
    assert same.mean() >= 0.95, same.mean()


def test_gamut_share_and_difference_of_real_pictures_are_littlecms():
    """Pillow's L*a*b* of eight bits is off by up to 0.5: a flat colour so near the limits may fall on either side of them."""
    pictures = sorted(CLIPS.glob("*.png"))[::3]
    done = subprocess.run([programs.example("findings"), "1", *pictures], check=True, capture_output=True, text=True)
    rows = list(csv.DictReader(io.StringIO(done.stdout), delimiter="\t"))
    assert len(rows) == len(pictures)
    shares = []
    for picture, line in zip(pictures, rows):
        pixels = numpy.asarray(Image.open(picture).convert("RGBA"))
        colours, seen = numpy.unique(pixels[pixels[..., 3] >= 128][::23, :3], axis=0, return_counts=True)
        printed, beyond = judged(colours)
        share = lambda slack: seen[(beyond > slack) & (printed > 3 + slack)].sum() / seen.sum()
        ours = float(line["gamut_share"])
        assert share(0.5) - 0.02 <= ours <= share(-0.5) + 0.02, (picture.name, share(0.5), ours, share(-0.5))
        if share(-0.5) - share(0.5) < 0.05 < share(0.5):
            outside = (beyond > 0) & (printed > 3)
            off = (printed * seen)[outside].sum() / seen[outside].sum()
            assert abs(float(line["gamut_off"]) - off) <= 0.5, (picture.name, line["gamut_off"], off)
        shares.append(ours)
    assert max(shares) > 0.2 and min(shares) < 0.01


@pytest.mark.parametrize("colour", ["00ff00", "0000ff", "00ffff", "ff00ff", "ff0000", "ff6600", "000080", "39ff14"])
def test_a_swatch_that_no_ink_shows_is_told(preflight, colour):
    swatch = numpy.full((120, 160, 3), 200, dtype=numpy.uint8)
    swatch[:60, :80] = list(bytes.fromhex(colour))
    finding = told(preflight(swatch, backdrop={"remove": "never"}), "colour.gamut")
    assert finding["severity"] == "caution" and abs(finding["measured"] - 0.25) < 0.01 and finding["limit"] == 0.05
    assert all(place["x_px"] + place["width_px"] <= 90 and place["y_px"] + place["height_px"] <= 70 for place in finding["places"])
    rgb = preflight(swatch, stock={**STOCK, "colour": "rgb"}, backdrop={"remove": "never"})
    assert told(rgb, "colour.gamut") is None and told(rgb, "colour.ink") is None


def test_pictures_made_of_inks_raise_no_alarm(preflight):
    """Each of 20 pictures holds 64 mixes of inks in blocks; a press shows all of them."""
    colours = inks_that_srgb_has(6000, 7)
    assert len(colours) > 20 * 64
    alarms = []
    for number in range(20):
        blocks = colours[number * 64 : number * 64 + 64].reshape(8, 8, 3).repeat(12, axis=0).repeat(12, axis=1)
        finding = told(preflight(blocks, backdrop={"remove": "never"}), "colour.gamut")
        alarms += [finding["measured"]] if finding else []
    assert len(alarms) <= 1, alarms


def test_photographs_black_white_and_grey_raise_no_alarm(preflight):
    for name in ("cmyk_icc_coated.tif", "cmyk_app14_marker.jpg"):
        found = preflight(FORMATS / name, backdrop={"remove": "never"})
        assert told(found, "colour.gamut") is None or name.endswith("jpg"), name
        assert told(found, "colour.ink") is None, name
    for level in (0, 20, 64, 128, 200, 255):
        found = preflight(numpy.full((64, 64, 3), level, dtype=numpy.uint8), backdrop={"remove": "never"})
        assert told(found, "colour.gamut") is None and told(found, "colour.ink") is None, level


@pytest.mark.parametrize("kind", ["TIFF", "JPEG"])
def test_art_with_more_ink_than_the_material_takes_is_told(preflight, tmp_path, kind):
    inks = numpy.zeros((100, 100, 4), dtype=numpy.uint8)
    inks[..., 3] = 60
    inks[:30] = 255
    path = tmp_path / f"heavy.{kind.lower()}"
    Image.frombytes("CMYK", (100, 100), inks.tobytes()).save(path, kind, **({"quality": 95} if kind == "JPEG" else {}))
    never = {"backdrop": {"remove": "never"}}
    finding = told(preflight(path, **never), "colour.ink")
    assert finding["severity"] == "caution" and finding["limit"] == 300 and 395 <= finding["measured"] <= 400
    assert "30 %" in finding["message"] and finding["places"]
    assert told(preflight(path, stock={**STOCK, "colour": "rgb"}, **never), "colour.ink") is None
    plain = inks.copy()
    plain[:30] = [0, 0, 0, 255]
    Image.frombytes("CMYK", (100, 100), plain.tobytes()).save(path, kind)
    assert told(preflight(path, **never), "colour.ink") is None


def test_a_shops_own_ink_limit_holds_for_what_is_printed(preflight):
    half = numpy.full((100, 100, 3), 255, dtype=numpy.uint8)
    half[:, :40] = 0
    finding = told(preflight(half, settings="[preflight]\nink_limit_percent = 240\n", backdrop={"remove": "never"}), "colour.ink")
    assert finding["limit"] == 240 and abs(finding["measured"] - 300) <= 3 and "40 %" in finding["message"]
    assert all(place["x_px"] + place["width_px"] <= 50 for place in finding["places"])


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_a_proof_shows_what_the_inks_show(quoin, tmp_path, kind):
    """A square of each colour; borders and faces stay white."""
    for number, colour in enumerate([(0, 255, 0), (40, 60, 200), (128, 128, 128), (0, 0, 0), (250, 120, 20)]):
        Image.new("RGB", (400, 400), colour).save(tmp_path / "art.png")
        item = {"art": {"file": "art.png"}, "size": {"width_mm": 40}, "backdrop": {"remove": "never"}, "outline": {"shape": "rectangle"}}
        digests = {}
        for stock in (STOCK, {**STOCK, "colour": "rgb"}):
            job = {"item": item, "stock": stock, "view": {"cut_line": False, "longest_px": 600}}
            (tmp_path / "job.json").write_text(json.dumps(job))
            out = tmp_path / f"{number}-{stock['colour']}.{kind}"
            done = subprocess.run([quoin, "proof", tmp_path / "job.json", "--out", out], capture_output=True, text=True)
            assert done.returncode == 0, done.stderr
            if kind == "svg":
                drawn = tmp_path / "drawn.png"
                subprocess.run(["rsvg-convert", "-w", "600", out, "-o", drawn], check=True)
                out = drawn
            pixels = numpy.asarray(Image.open(out).convert("RGB"))
            middle = pixels[pixels.shape[0] // 2, pixels.shape[1] // 2]
            wanted = numpy.array([colour])
            if stock["colour"] == "cmyk":
                wanted = through(TO_SRGB, through(TO_INKS, wanted, "RGB"), "CMYK")
            off = delta_e_2000(lab(middle[None]), lab(wanted))[0]
            assert off <= (1.5 if stock["colour"] == "cmyk" else 0.1), (colour, middle, wanted, off)
            border = pixels[pixels.shape[0] // 2, round(pixels.shape[1] * (0.07 + 0.5 / 40) / 1.14)]
            assert (border == 255).all(), border
            digests[stock["colour"]] = out.read_bytes()
        assert digests["rgb"] != digests["cmyk"] or colour == (128, 128, 128)


def test_a_run_refuses_inks_that_it_cannot_print_yet(quoin, tmp_path):
    Image.new("RGB", (100, 100), (200, 30, 30)).save(tmp_path / "art.png")
    item = {"item": "1", "art": {"file": "art.png"}, "size": {"width_mm": 20}, "quantity": 1}
    job = {"run": "r", "stocks": [STOCK], "orders": [{"order": "1", "items": [item]}]}
    (tmp_path / "job.json").write_text(json.dumps(job))
    done = subprocess.run([quoin, "gang", tmp_path / "job.json", "--out", tmp_path / "out"], capture_output=True, text=True)
    assert done.returncode == 1 and "job.not_supported_yet" in done.stderr and "/stocks/0/colour" in done.stderr
    estimate = {"item": {"art": {"file": "art.png"}, "size": {"width_mm": 20}}, "stock": STOCK}
    (tmp_path / "job.json").write_text(json.dumps(estimate))
    done = subprocess.run([quoin, "estimate", tmp_path / "job.json"], capture_output=True, text=True)
    assert done.returncode == 0 and json.loads(done.stdout)["settings"]["stock"]["colour"] == "cmyk"
