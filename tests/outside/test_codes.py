"""QR codes on labels, read back by an unrelated reader (ISO/IEC 18004; zxing-cpp)."""

import numpy as np
import zxingcpp


def test_every_label_says_run_and_sheet(measured_runs):
    for run in measured_runs:
        for number, sheet in enumerate(run.sheets, start=1):
            found = zxingcpp.read_barcodes(np.asarray(sheet.rendered(300)))
            codes = [code.text for code in found if code.format == zxingcpp.BarcodeFormat.QRCode]
            assert codes == [f"{run.job['run']}/{number}"], f"{sheet.name}: {codes}"


def test_the_label_stands_outside_the_window(measured_runs):
    for run in measured_runs:
        for sheet in run.sheets:
            window = sheet.record["window_mm"]
            code = zxingcpp.read_barcodes(np.asarray(sheet.rendered(300)))[0]
            corners = (code.position.top_left, code.position.top_right, code.position.bottom_left, code.position.bottom_right)
            for corner in corners:
                x, y = corner.x * 25.4 / 300, corner.y * 25.4 / 300
                across = window["x"] < x < window["x"] + window["width"]
                down = window["y"] < y < window["y"] + window["height"]
                assert not (across and down), f"{sheet.name}: the code stands among the stickers"
