"""The written cut.svg, read by an unrelated SVG library (svgelements) and measured by GEOS (shapely).

SVG 1.1 (Second Edition), section 8.3, for path data; sizes in mm as CSS Values and Units 4, section 6.2, defines them.
"""

import re

import numpy as np
import shapely
from shapely import LinearRing, STRtree, box
import svgelements

import curves
from cut_svg import SVG

GUTTER_TOLERANCE_MM = 0.02
AGREEMENT_MM = 0.01
# Design promise: the finished size is within 0.1 mm of the size ordered.
ORDERED_SIZE_MM = 0.1


def test_size_and_view_box_are_the_sheet_in_millimetres(every_sheet):
    for sheet in every_sheet:
        np.testing.assert_allclose(sheet.cut.size_mm, sheet.size_mm, atol=AGREEMENT_MM)
        np.testing.assert_allclose(sheet.cut.view_box, (0, 0, *sheet.size_mm), atol=AGREEMENT_MM)


def test_an_unrelated_library_sees_the_same_millimetres(every_sheet):
    """At 25.4 px per inch svgelements' user unit is the millimetre (1 in = 25.4 mm), whatever viewBox and size say."""
    for sheet in every_sheet:
        document = svgelements.SVG.parse(sheet.cut.path, ppi=25.4, reify=True)
        seen = {path.id: path.bbox() for path in document.elements(lambda node: isinstance(node, svgelements.Path))}
        for cut in sheet.cut.cuts:
            mine = cut.polygon.bounds
            np.testing.assert_allclose(seen[cut.id], mine, atol=AGREEMENT_MM, err_msg=f"{sheet.name} {cut.id}")


def test_paths_are_absolute_closed_and_alone(every_sheet):
    """Path commands: SVG 1.1, section 8.3.2 to 8.3.6; upper case is absolute."""
    for sheet in every_sheet:
        assert not [node.tag for node in sheet.cut.root.iter() if node.get("transform")], "no transforms anywhere"
        for cut in sheet.cut.cuts:
            commands = re.findall(r"[A-Za-z]", re.sub(r"[0-9.][eE][-+]?[0-9]", "0", cut.d))
            assert commands[0] == "M" and commands.count("M") == 1, f"{cut.id}: one subpath"
            assert commands[-1] == "Z" and commands.count("Z") == 1, f"{cut.id}: closed"
            assert set(commands) <= set("MLHVCSZ"), f"{cut.id}: absolute commands only, lines and cubics"
            assert np.isfinite(cut.ring).all() and len(cut.ring) >= 3


def test_lines_do_not_cross_themselves(every_sheet):
    """OGC 06-103r4, 6.1.7.1: a LinearRing is closed and simple; `IsSimple` as GEOS has it."""
    for sheet in every_sheet:
        for cut in sheet.cut.cuts:
            assert LinearRing(cut.ring).is_simple, f"{sheet.name} {cut.id} crosses itself"
            assert cut.polygon.is_valid and cut.polygon.area > 1.0


def test_every_ticket_line_has_its_cuts_and_no_cut_is_alone(every_sheet):
    for sheet in every_sheet:
        numbers = [placement["placement"] for placement in sheet.placements]
        assert numbers == list(range(1, len(numbers) + 1))
        assert sorted(sheet.cut.by_placement) == numbers


def test_ids_and_data_attributes_say_whose_line_it_is(every_sheet):
    through = {"PartialCutting": r"p[0-9]+-kiss(-[0-9]+)?", "Cutting": r"p[0-9]+-through(-[2-9][0-9]*|-1[0-9]+)?"}
    for sheet in every_sheet:
        ids = [cut.id for cut in sheet.cut.cuts]
        assert len(ids) == len(set(ids))
        tickets = {placement["placement"]: placement for placement in sheet.placements}
        for cut in sheet.cut.cuts:
            ticket = tickets[cut.placement]
            assert re.fullmatch(through[cut.layer], cut.id), cut.id
            assert cut.attributes.get("data-order") == ticket["order"], cut.id
            assert cut.attributes.get("data-item") == ticket["item"], cut.id
            assert cut.attributes.get("data-copy") == str(ticket["copy"]), cut.id


def test_products_have_the_cuts_that_make_them(every_sheet):
    for sheet in every_sheet:
        for placement in sheet.placements:
            cuts = sheet.cut.by_placement[placement["placement"]]
            kiss = [cut for cut in cuts if cut.layer == "PartialCutting"]
            through = [cut for cut in cuts if cut.layer == "Cutting"]
            expected = {"die_cut": not kiss, "kiss_cut": len(kiss) >= 1, "sticker_sheet": len(kiss) >= 2}
            assert through and expected[placement["product"]], placement
            outermost = sheet.cut.outermost(placement["placement"]).buffer(AGREEMENT_MM)
            assert all(outermost.contains(cut.polygon) for cut in kiss), f"a kiss cut leaves its backing: {placement}"


def test_sticker_sheets_name_the_piece_of_every_line(demo):
    page = demo.item("2004", "1")
    pieces = {piece["piece"]: piece.get("copies", 1) for piece in page["pieces"]}
    for sheet in demo.sheets:
        for placement in sheet.placements:
            if placement["product"] != "sticker_sheet":
                continue
            kiss = [cut for cut in sheet.cut.by_placement[placement["placement"]] if cut.layer == "PartialCutting"]
            named = [cut.attributes["data-piece"] for cut in kiss]
            assert set(named) == set(pieces)
            assert all(named.count(piece) >= copies for piece, copies in pieces.items())
            gaps = [a.polygon.distance(b.polygon) for i, a in enumerate(kiss) for b in kiss[:i]]
            assert min(gaps) >= page["page"].get("gap_mm", 2.0) - GUTTER_TOLERANCE_MM


def test_kiss_cuts_come_first_and_inner_lines_before_outer(every_sheet):
    for sheet in every_sheet:
        order = [node.get("id") for node in sheet.cut.root.iter(f"{SVG}path") if "-" in (node.get("id") or "")]
        kinds = ["kiss" if "-kiss" in name else "through" for name in order]
        assert kinds == sorted(kinds), "all kiss cuts, then all through cuts"
        through = [cut for cut in sheet.cut.cuts if cut.layer == "Cutting"]
        for i, cut in enumerate(through):
            inside = [later.id for later in through[i + 1 :] if cut.polygon.contains(later.polygon)]
            assert not inside, f"{inside} would be cut out of a loose {cut.id}"


def test_lines_far_from_the_feed_edge_are_cut_first(every_sheet):
    """Cutting towards the feed edge leaves the sheet whole where the rollers hold it: the first third of the through cuts
    lies farther from that edge than the last third."""
    for sheet in every_sheet:
        placed = list(dict.fromkeys(cut.placement for cut in sheet.cut.cuts if cut.layer == "Cutting"))
        if len(placed) < 9:
            continue
        middles = np.array([sheet.cut.outermost(number).envelope.centroid.coords[0] for number in placed])
        (x, y), (width, height) = middles.T, sheet.size_mm
        far = {"top": y, "bottom": height - y, "left": x, "right": width - x}[sheet.stock.get("feed_edge", "top")]
        third = len(placed) // 3
        assert far[:third].mean() > far[-third:].mean(), sheet.name


def test_neighbours_keep_the_gutter(every_sheet):
    """True outlines, true distances: GEOS on both whole rings, no boxes."""
    for sheet in every_sheet:
        gutter = sheet.stock.get("gutter_mm", 2.0)
        areas = [sheet.cut.outermost(placement["placement"]) for placement in sheet.placements]
        near = STRtree(areas).query(areas, predicate="dwithin", distance=gutter)
        for i, k in near.T:
            if i < k:
                distance = shapely.distance(areas[i], areas[k])
                assert distance >= gutter - GUTTER_TOLERANCE_MM, f"{sheet.name}: p{i + 1} and p{k + 1} are {distance} mm apart"


def test_every_line_stays_in_the_window(every_sheet):
    for sheet in every_sheet:
        window = sheet.record["window_mm"]
        bounds = box(window["x"], window["y"], window["x"] + window["width"], window["y"] + window["height"])
        bounds = bounds.buffer(AGREEMENT_MM, join_style="mitre")
        assert bounds.within(box(0, 0, *sheet.size_mm).buffer(0.1))
        for cut in sheet.cut.cuts:
            assert bounds.contains(cut.polygon), f"{sheet.name} {cut.id} leaves the window"


def test_ticket_says_where_each_line_is_and_how_large(every_sheet):
    """The origin is the centre of the outermost line's box before rotation; rotation is clockwise with y down."""
    for sheet in every_sheet:
        for placement in sheet.placements:
            pose = (placement["x_mm"], placement["y_mm"], placement["rotation_deg"])
            cuts = sheet.cut.by_placement[placement["placement"]]
            rings = [curves.unturned(cut.ring, *pose) for cut in cuts if cut.layer == "Cutting"]
            box_ = extent(rings)
            wanted = (placement["width_mm"], placement["height_mm"])
            where = f"{sheet.name} p{placement['placement']} {placement['order']}/{placement['item']}"
            np.testing.assert_allclose(box_[:2], (0, 0), atol=AGREEMENT_MM, err_msg=f"{where}: centre")
            np.testing.assert_allclose(box_[2:], wanted, atol=AGREEMENT_MM, err_msg=f"{where}: size")
            if placement["product"] == "kiss_cut":
                rings = [curves.unturned(cut.ring, *pose) for cut in cuts if cut.layer == "PartialCutting"]
            finished = (placement["finished_width_mm"], placement["finished_height_mm"])
            np.testing.assert_allclose(extent(rings)[2:], finished, atol=AGREEMENT_MM, err_msg=f"{where}: finished size")


def test_finished_size_is_the_ordered_one(measured_runs):
    for run in measured_runs:
        for sheet in run.sheets:
            for placement in sheet.placements:
                ordered = run.item(placement["order"], placement["item"])
                width, height = placement["finished_width_mm"], placement["finished_height_mm"]
                sizes = ordered["page"] if placement["product"] == "sticker_sheet" else ordered["size"]
                got = {"width_mm": width, "height_mm": height, "longest_mm": max(width, height)}
                if ordered["outline"]["shape"] == "circle" and placement["product"] == "die_cut":
                    assert abs(width - height) < AGREEMENT_MM
                for name in set(sizes) & set(got):
                    assert abs(got[name] - sizes[name]) <= ORDERED_SIZE_MM, f"{placement}: {name} of {sizes}"


def test_rotation_is_as_the_item_allows(measured_runs):
    for run in measured_runs:
        for sheet in run.sheets:
            for placement in sheet.placements:
                rotation = placement["rotation_deg"]
                assert 0 <= rotation < 360
                allowed = run.item(placement["order"], placement["item"]).get("rotate", "free")
                if allowed != "free":
                    assert rotation % 90 == 0, placement
                if allowed == "none":
                    assert rotation == 0, placement


def test_circles_are_round(demo):
    """Design promise: radial error of an arc drawn as Béziers under 0.001 mm; the flattening adds 0.002 mm."""
    seen = 0
    for sheet in demo.sheets:
        for placement in sheet.placements:
            if (placement["order"], placement["item"]) == ("2002", "2"):
                ring = sheet.cut.by_placement[placement["placement"]][0].ring
                radii = np.hypot(ring[:, 0] - placement["x_mm"], ring[:, 1] - placement["y_mm"])
                assert np.abs(radii - placement["width_mm"] / 2).max() < 0.003
                seen += 1
    assert seen == demo.item("2002", "2")["quantity"]


def extent(rings):
    """Centre and size of the box around rings."""
    points = np.vstack(rings)
    low, high = points.min(axis=0), points.max(axis=0)
    return np.array([*(low + high) / 2, *(high - low)])
