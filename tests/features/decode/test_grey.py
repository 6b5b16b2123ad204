"""From stored values to grey levels: bits, rescale, window, inversion last."""

import numpy as np
import pytest

from referral.storage.decode.grey import Window, windowed
from tests.features.decode.files import read

PLATE = np.array([[0, 1024], [2048, 4095]], np.uint16)


@pytest.mark.parametrize(
    ("kind", "centre", "width", "wanted"),
    [
        ("MONOCHROME1", "1024", "512", [[255, 127], [0, 0]]),
        ("MONOCHROME2", "1024", "512", [[0, 128], [255, 255]]),
        ("MONOCHROME1", "2048", "4096", [[255, 191], [127, 0]]),
    ],
)
def test_inversion_comes_last(kind, centre, width, wanted):
    film = read(
        PLATE,
        PhotometricInterpretation=kind,
        BitsStored=12,
        WindowCenter=centre,
        WindowWidth=width,
    )
    assert film.pixels.tolist() == wanted
    assert (film.window.centre, film.window.origin) == (float(centre), "file")


def test_an_inverse_presentation_is_inverted_once():
    said = {"BitsStored": 12, "WindowCenter": "2048", "WindowWidth": "4096"}
    once = read(PLATE, PresentationLUTShape="INVERSE", **said)
    both = read(
        PLATE, PresentationLUTShape="INVERSE", PhotometricInterpretation="MONOCHROME1", **said
    )
    assert once.pixels.tolist() == both.pixels.tolist() == [[255, 191], [127, 0]]


@pytest.mark.parametrize(
    ("words", "signed", "wanted"),
    [
        ([0xF005, 0x0FFF, 0x1000, 0x2ABC], 0, [5, 4095, 0, 2748]),
        ([0x0FFF, 0x0800, 0x07FF, 0x0001], 1, [-1, -2048, 2047, 1]),
    ],
)
def test_junk_in_the_unused_bits_is_not_seen(words, signed, wanted):
    # A window one value wide is a step at the value: it tells each stored value exactly.
    given = np.array([words], np.uint16)
    for value in wanted:
        film = read(
            given,
            BitsStored=12,
            PixelRepresentation=signed,
            WindowCenter=str(value),
            WindowWidth="1",
        )
        assert film.pixels[0].tolist() == [255 * (each >= value) for each in wanted]


def test_bits_stored_high_in_the_word():
    film = read(PLATE << 4, BitsStored=12, HighBit=15, WindowCenter="1024", WindowWidth="512")
    assert film.pixels.tolist() == [[0, 128], [255, 255]]


def test_the_window_acts_on_rescaled_values():
    # 12 bit, slope 0.5 and intercept -100: 0, 1024 ... become -100, 412, 924, 1947.5.
    film = read(
        PLATE,
        BitsStored=12,
        RescaleSlope="0.5",
        RescaleIntercept="-100",
        WindowCenter="412.5",
        WindowWidth="1025",
    )
    assert film.pixels.tolist() == [[0, 128], [255, 255]]


def test_a_negative_slope_is_no_inversion():
    said = {"BitsStored": 12, "RescaleIntercept": "4095", "RescaleSlope": "-1"}
    film = read(PLATE, WindowCenter="2048", WindowWidth="4096", **said)
    assert film.pixels.tolist() == [[255, 191], [127, 0]]


def test_window_functions():
    # DICOM PS3.3 C.11.2.1.2 and C.11.2.1.3, worked by hand.
    values = np.array([0.0, 1024.0, 1280.0, 4095.0])
    linear = windowed(values, Window(1024, 512, "LINEAR", "file"))
    assert linear.tolist() == pytest.approx([0, 0.5 + 0.5 / 511, 1, 1])
    exact = windowed(values, Window(1024, 512, "LINEAR_EXACT", "file"))
    assert exact.tolist() == [0.0, 0.5, 1.0, 1.0]
    sigmoid = windowed(values, Window(1024, 512, "SIGMOID", "file"))
    assert sigmoid.tolist() == pytest.approx([1 / (1 + np.exp(8)), 0.5, 1 / (1 + np.exp(-2)), 1])


@pytest.mark.parametrize(
    ("function", "width", "used"),
    [("LINEAR", "0", False), ("LINEAR", "0.5", False), ("LINEAR_EXACT", "0.5", True),
     ("SIGMOID", "-3", False), ("LINEAR", "512", True)],
)  # fmt: skip
def test_an_absurd_window_is_none(function, width, used):
    film = read(PLATE, BitsStored=12, WindowCenter="9", WindowWidth=width, VOILUTFunction=function)
    assert film.window.origin == ("file" if used else "auto")


def test_a_film_without_window_gets_the_middle_of_its_values():
    # A thousand values, 0 to 999, each once: 0.5 % and 99.5 % of them lie at 4 and 994.
    film = read(np.arange(1000, dtype=np.uint16).reshape(25, 40))
    window = film.window
    low, high = window.centre - window.width / 2, window.centre + window.width / 2
    assert (low, high, window.origin) == (4.0, 994.0, "auto")
    grey = film.pixels.ravel().astype(int)
    assert (grey[:5] == 0).all()
    assert (grey[994:] == 255).all()
    assert (np.diff(grey) >= 0).all()


def test_a_film_of_one_value_is_still_a_picture():
    film = read(np.full((4, 4), 700, np.uint16))
    assert film.pixels.tolist() == [[128] * 4] * 4


def test_eight_bits_are_taken_as_they_are():
    words = np.array([[0, 100], [200, 255]], np.uint8)
    film = read(words, WindowCenter="128", WindowWidth="256")
    assert film.pixels.tolist() == words.tolist()
