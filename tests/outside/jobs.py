"""Small jobs for what the demo does not show. Pictures are the demo's."""


def job(run, stock, items, **policy):
    """A job of one order on one stock."""
    return {"run": run, "stocks": [stock], "orders": [{"order": "7", "items": items}], "policy": {"effort": "draft", **policy}}


def item(name, picture, width_mm, quantity, **fields):
    """One line of an order."""
    return {"item": name, "art": {"file": f"art/{picture}"}, "size": {"width_mm": width_mm}, "quantity": quantity, **fields}


def feed_edge(edge):
    """A sheet with marks that enters the cutter by one of its edges."""
    stock = {
        "stock": "marked", "form": {"sheet": {"width_mm": 210, "height_mm": 160}}, "feed_edge": edge,
        "margins_mm": {"top": 18, "right": 18, "bottom": 18, "left": 18}, "unprintable_mm": 5,
        "register_marks": {"shape": "disc", "diameter_mm": 5, "clear_mm": 3}, "cut_lines_in_print": "separations",
    }
    return job(f"feed-{edge}", stock, [item("1", "heart.png", 30, 5), item("2", "crow.png", 25, 3)])


def roll():
    """A roll with sections: bands across it, a fifth mark in each."""
    stock = {
        "stock": "banner", "form": {"roll": {"width_mm": 200, "max_length_mm": 700, "section_length_mm": 160}},
        "margins_mm": {"top": 20, "right": 20, "bottom": 20, "left": 20}, "unprintable_mm": 5, "face": "metallic",
        "register_marks": {"shape": "disc", "diameter_mm": 6, "clear_mm": 4}, "cut_lines_in_print": "separations",
    }
    return job("roll", stock, [item("1", "heart.png", 45, 14), item("2", "snowman.png", 50, 8), item("3", "scroll.png", 70, 6)])


def holes_and_parts():
    """A wreath whose middle is cut out, and hearts that fall apart on purpose."""
    stock = {
        "stock": "clear", "form": {"sheet": {"size": "iso_a4_210x297mm"}}, "face": "clear",
        "cut_lines_in_print": "separations",
    }
    hole = {"border_mm": 2, "keep_holes_wider_than_mm": 10}
    apart = {"border_mm": 1, "parts": "separate"}
    return job("holes-and-parts", stock, [
        item("wreath", "wreath.png", 60, 3, outline=hole), item("hearts", "hearts_floating.png", 55, 2, outline=apart),
    ])
