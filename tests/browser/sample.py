"""A small app around the real templates, styles and scripts, and the film of a foot for it."""

import io
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from flask import Flask, redirect, render_template, request
from jinja2 import ChoiceLoader, FileSystemLoader
from PIL import Image, ImageDraw

from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.core.measure.views import VIEWS
from referral.core.rules.finding import Finding
from referral.films.edges import edge_words
from referral.films.overlay import overlay_svg
from referral.films.pages import DRAWINGS
from referral.settings import Settings
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.web import filters, headers, wiring
from referral.web.charts import VisitPoint, line_chart
from referral.web.forms import FormState
from referral.web.wiring import Wiring

TOKEN = "token-of-this-page"
ORIGINAL_PX = (3000, 2400)
COPY_PX = (1200, 960)
HOUSE = Path(__file__).resolve().parents[2]
PAGES = Path(__file__).parent / "pages"

# Where the landmarks of the drawn foot are, in pixels of the original.
FOOT_PX = {
    "ground_palmar": (350, 2000),
    "ground_dorsal": (2700, 2000),
    "p3_tip": (1900, 1790),
    "p3_palmar_process": (1150, 1700),
    "p3_dorsal_proximal": (1490, 1230),
    "p3_dorsal_distal": (1800, 1660),
    "wall_proximal": (1640, 1150),
    "wall_distal": (1900, 1500),
    "toe": (2270, 2000),
    "breakover": (2190, 2000),
    "heel": (820, 2000),
    "heel_wall_proximal": (560, 1570),
    "heel_wall_distal": (760, 1900),
    "p2_condyle": ((1090, 1290), (1240, 1380), (1400, 1290)),
}
MARKER_PX = ((2500, 900), (2500, 1600))


def settings_in(folder: Path) -> Settings:
    return Settings(
        instance_dir=folder,
        database_url="sqlite://",
        files_dir=folder / "files",
        keys_dir=folder / "keys",
        instance_name="Test",
        zone="Europe/London",
        host="127.0.0.1",
        port=0,
        production=False,
        demo=False,
        secret_key="x" * 32,
        instance_key=b"x" * 32,
    )


def film_jpeg(size_px: tuple[int, int] = COPY_PX) -> bytes:
    """Return a drawn foot: soft tissue, bone, ground and a marker rod."""
    picture = Image.new("L", ORIGINAL_PX, 18)
    draw = ImageDraw.Draw(picture)
    hoof = [(2270, 2000), (1600, 1090), (1350, 300), (640, 300), (520, 1450), (820, 2000)]
    draw.polygon(hoof, fill=70)
    draw.polygon([(1900, 1790), (1470, 1180), (1080, 1330), (1150, 1700)], fill=190)
    draw.polygon([(1400, 1250), (1090, 1290), (900, 620), (1250, 560)], fill=170)
    draw.rectangle([300, 2000, 2750, 2030], fill=235)
    draw.rectangle([2480, 900, 2520, 1600], fill=250)
    noise = np.random.default_rng(7).normal(0, 9, (ORIGINAL_PX[1], ORIGINAL_PX[0]))
    pixels = np.clip(np.asarray(picture, float) + noise, 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).resize(size_px, Image.Resampling.BOX).save(out, "JPEG", quality=85)
    return out.getvalue()


def sole_jpeg(size_px: tuple[int, int] = COPY_PX) -> bytes:
    """Return a drawn sole in colour: ground, hoof, frog and a ruler."""
    picture = Image.new("RGB", ORIGINAL_PX, (120, 132, 96))
    draw = ImageDraw.Draw(picture)
    draw.ellipse([700, 300, 2300, 2200], fill=(92, 78, 66))
    draw.ellipse([780, 380, 2220, 2120], fill=(150, 132, 108))
    draw.polygon([(1500, 900), (1240, 1950), (1760, 1950)], fill=(70, 58, 50))
    draw.rectangle([2450, 600, 2560, 1600], fill=(240, 236, 220))
    out = io.BytesIO()
    picture.resize(size_px, Image.Resampling.BOX).save(out, "JPEG", quality=88)
    return out.getvalue()


def editor_rows(placed: dict, view: str = "lateromedial") -> list[dict]:
    """Return the landmarks as the editor takes them, in guided order."""
    rows = []
    for name, sentence in LANDMARKS[view].items():
        row = {"name": name, "label": name.replace("_", " ").capitalize(), "sentence": sentence}
        row["edge"] = edge_words(view, name)
        if name in SEVERAL_POINTS:
            row |= {"slots": 5, "points": placed.get(name, [])}
        else:
            row["x"], row["y"] = placed.get(name, (None, None))
        rows.append(row)
    return rows


def finding(rule: str, verdict: str, severity: str, says: str, **more: object) -> Finding:
    given = {
        "rule": rule,
        "title": "Sole depth under the tip",
        "stage": "after_fit",
        "measure": "sole_depth_tip_mm",
        "verdict": verdict,
        "severity": severity,
        "value": 8.1,
        "u": 0.7,
        "limit": 10.0,
        "unit": "mm",
        "margin": -1.9,
        "p_outside": 0.99,
        "limit_from": "shipped rulebook",
        "evidence": "from memory",
        "source": None,
        "reason": "the value lies beyond the guard band",
        "says": says,
    }
    return Finding(**(given | more))


def sample_app(
    folder: Path,
    *,
    placed: dict | None = None,
    picture: bytes | None = None,
    view: str = "lateromedial",
    size_px: tuple[int, int] = ORIGINAL_PX,
    stretch: tuple[float, float] = (1.0, 1.0),
) -> tuple[Flask, list[dict]]:
    """Return the app and the list that fills with what its pages posted."""
    app = Flask(
        "sample",
        template_folder=str(HOUSE / "templates"),
        static_folder=str(HOUSE / "static"),
        static_url_path="/static",
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_loader = ChoiceLoader(
        [FileSystemLoader(HOUSE / "templates"), FileSystemLoader(PAGES)]
    )
    app.secret_key = "x" * 32
    settings = settings_in(folder)
    wired = Wiring(settings, Database(settings.database_url), BlobStore(folder), None, None)
    wiring.install(app, wired)
    headers.install(app)
    filters.install(app)
    app.add_template_global(lambda: TOKEN, "csrf_token")
    somebody = SimpleNamespace(is_authenticated=True, name="Ann Vale", memberships=[])
    app.context_processor(lambda: {"current_user": somebody})
    # The frame links to pages that stand in the whole application only.
    app.url_build_error_handlers.append(lambda _error, _endpoint, _values: "/elsewhere")
    posted: list[dict] = []
    jpeg = picture or film_jpeg()
    _pages(app, placed or {}, jpeg, posted)
    app.config.update(VIEW=view, PICTURE={"size_px": size_px, "stretch": stretch})
    return app, posted


def _pages(app: Flask, placed: dict, jpeg: bytes, posted: list[dict]) -> None:
    @app.get("/film.jpg")
    def film() -> object:
        return app.response_class(jpeg, mimetype="image/jpeg")

    @app.get("/editor")
    def editor() -> str:
        return render_template(
            "editor.html",
            form=FormState(),
            **app.config["PICTURE"],
            view=app.config["VIEW"],
            is_photo=VIEWS[app.config["VIEW"]].is_photo,
            drawing=DRAWINGS[app.config["VIEW"]],
            landmarks=editor_rows(placed, app.config["VIEW"]),
            lines=VIEWS[app.config["VIEW"]].lines,
        )

    @app.post("/landmarks")
    def keep() -> object:
        posted.append({"form": request.form.to_dict()})
        return redirect("/editor", 303)

    @app.post("/readings")
    def readings() -> object:
        body = request.get_json()
        posted.append({"json": body, "token": request.headers.get("X-CSRF-Token")})
        length = body.get("known_length_mm", body.get("marker_length_mm", 70))
        if not isinstance(length, int | float):
            name = "known_length_mm" if "known_length_mm" in body else "marker_length_mm"
            said = {"detail": "Some fields need another look.", "errors": {name: ["A number."]}}
            return said, 422
        tip = body["landmarks"].get("p3_tip")
        shown = [{"name": "Palmar angle", "shown": "4.5 ± 1.4°"}] if tip else []
        absent = [{"name": "Centre of rotation", "reason": "needs p2_condyle"}]
        return {"readings": shown, "absent": absent, "warnings": [], "scale": "No scale: px only"}

    app.add_url_rule("/before-after", "before_after", lambda: render_template("before_after.html"))
    app.add_url_rule("/components", "components", components)


def components() -> str:
    return render_template("components.html", **component_values())


def component_values() -> dict:
    now, after = SimpleNamespace(value=6.24, u=0.7), SimpleNamespace(value=4.5, u=0.72)
    row = {"name": "Palmar angle", "unit": "deg", "now": after, "predicted": now, "note": None}
    rows = [
        row | {"limit": "3.0 to 7.0°", "limit_from": "the vet", "verdict": "TOO_CLOSE"},
        row | {"name": "Sole depth", "unit": "mm", "limit": "≥ 10 mm", "verdict": "OUTSIDE"},
        row | {"name": "Toe arm", "predicted": None, "note": "needs p2_condyle", "verdict": None},
    ]
    says = "8.1 ± 1.4 mm is below 10 mm: the sole is too thin for this trim."
    visits = [
        VisitPoint(date(2026, 1, 5), 1.2, 0.7),
        VisitPoint(date(2026, 2, 10), 2.6, 0.7),
        VisitPoint(date(2026, 3, 17), 4.3, 0.7),
    ]
    return {
        "rows": rows,
        "findings": [
            finding("R04", "OUTSIDE", "breach", says),
            finding("R05", "TOO_CLOSE", "caution", "6.2 ± 1.4° may be above 7°."),
            finding("R06", "CANNOT_TELL", "breach", "The film has no scale."),
            finding("R07", "OUTSIDE", "caution", says, folded_under="R04"),
            finding("R08", "WITHIN", "note", "Wedge 2.0° is within 5°."),
            finding("R10", "NOT_APPLICABLE", "note", "Not a laminitis case."),
        ],
        "form": FormState(
            typed={"name": ["Bramble"], "toe_trim_mm": ["99"], "shod": ["yes"]},
            faults={"toe_trim_mm": ["Between 0 and 25 mm."], "shod": ["Say which shoe."]},
            sentence="Some fields need another look; what you typed is still here.",
        ),
        "overlay": overlay_svg(FOOT_PX, ORIGINAL_PX, marker_ends_px=MARKER_PX),
        "chart": line_chart(
            "palmar_angle_deg", "Palmar angle", "deg", visits, at_least=3, at_most=7,
            resets={1: date(2026, 1, 12), 2: date(2026, 2, 17)},
        ),
    }  # fmt: skip
