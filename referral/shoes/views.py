"""The forge's stock: look, add, change, remove, take in and give out lists, print an outline."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any
from uuid import UUID

from flask import Blueprint, Response, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once, new_key
from referral.errors import Invalid, OutOfDate, TooLarge
from referral.shoes.choices import CATEGORIES, MATERIALS
from referral.shoes.drawing import small_svg
from referral.shoes.fit import USUAL_EXTENSION_MM, Foot
from referral.shoes.pages import (
    facts_said,
    ranked_lines,
    shape_lines,
    shoe_line,
    shoe_name,
)
from referral.shoes.policy import forges_of
from referral.shoes.printing import NAMES, outline_pdf
from referral.shoes.queries import stock_for, stock_shoe_for
from referral.shoes.schemas import WAYS, FootForm, ListForm, NothingMore, StockForm
from referral.shoes.service import (
    StockLine,
    add_shoe,
    change_shoe,
    forge_of,
    line_of,
    opened_shoe,
    remove_shoe,
    shape_of,
    take_in,
)
from referral.shoes.stock_csv import COLUMNS, LARGEST_BYTES, read_stock, write_stock
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("shoes", __name__)

UNUSABLE = 422
MOVED_ON = 409
NO_FILE = "Choose the file with the list."
REFUSALS = (Invalid, OutOfDate, TooLarge)


@blueprint.get("/shoes")
@sign_in_required
def stock() -> ResponseReturnValue:
    """Show the stock; for a foot that is asked about, what needs the least alteration first."""
    state, foot, status = _asked_foot()
    with wiring().database.reading() as session:
        rows = stock_for(session, current_actor())
        lines = [shoe_line(row) for row in rows] if foot is None else ranked_lines(rows, foot)
    html = render_template(
        "shoes/stock.html",
        lines=lines,
        form=state,
        foot=foot,
        forges={str(each.organisation_id): each.name for each in forges_of(current_actor())},
    )
    return make_response(html, status)


def _asked_foot() -> tuple[FormState, Foot | None, int]:
    usual = f"{USUAL_EXTENSION_MM:g}"
    if not request.args:
        return FormState({"heel_extension_mm": [usual]}), None, 200
    try:
        given = load_form(FootForm(), request.args)
    except Invalid as error:
        return state_of_form(request.args, error), None, UNUSABLE
    foot = Foot(given["foot_length_mm"], given["foot_width_mm"], given["heel_extension_mm"])
    typed = {name: [value or usual] for name, value in request.args.items()}
    return FormState({"heel_extension_mm": [usual], **typed}), foot, 200


@blueprint.get("/shoes/new")
@sign_in_required
def new_shoe() -> ResponseReturnValue:
    """Show the form that puts a kind of shoe on the shelf."""
    return _new(FormState())


@blueprint.post("/shoes")
@sign_in_required
def add() -> ResponseReturnValue:
    """Put a kind of shoe on the shelf."""
    forges_of(current_actor())
    try:
        answer = _once(_added)
    except REFUSALS as error:
        return _new(*_refused(error))
    flash("The shoe stands in the stock.")
    return answer


def _added(session: Any) -> str:  # noqa: ANN401 - the session is a type of another layer
    given = load_form(StockForm(), request.form)
    forge = forge_of(current_actor(), given.pop("forge"))
    add_shoe(session, current_actor(), forge, StockLine(**given), wiring().now())
    return url_for("shoes.stock")


def _new(state: FormState, status: int = 200) -> ResponseReturnValue:
    html = render_template("shoes/new.html", form=state, **_choices())
    return make_response(html, status)


@blueprint.get("/shoes/<uuid:shoe_id>")
@sign_in_required
def show(shoe_id: UUID) -> ResponseReturnValue:
    """Show one shoe of the stock, its outline, and the form that changes it."""
    return _one(shoe_id, FormState())


@blueprint.post("/shoes/<uuid:shoe_id>")
@sign_in_required
def change(shoe_id: UUID) -> ResponseReturnValue:
    """Change one shoe of the stock."""
    try:
        answer = _once(lambda session: _changed(session, shoe_id))
    except REFUSALS as error:
        return _one(shoe_id, *_refused(error))
    flash("The shoe is changed.")
    return answer


def _changed(session: Any, shoe_id: UUID) -> str:  # noqa: ANN401 - as above
    row = opened_shoe(session, current_actor(), shoe_id, _revision())
    given = load_form(StockForm(exclude=["forge"]), request.form)
    change_shoe(current_actor(), row, StockLine(**given), wiring().now())
    return url_for("shoes.stock")


@blueprint.post("/shoes/<uuid:shoe_id>/removal")
@sign_in_required
def remove(shoe_id: UUID) -> ResponseReturnValue:
    """Take one shoe off the list."""
    try:
        answer = _once(lambda session: _removed(session, shoe_id))
    except REFUSALS as error:
        return _one(shoe_id, *_refused(error))
    flash("The shoe is off the list.")
    return answer


def _removed(session: Any, shoe_id: UUID) -> str:  # noqa: ANN401 - as above
    row = opened_shoe(session, current_actor(), shoe_id, _revision())
    load_form(NothingMore(), request.form)
    remove_shoe(current_actor(), row, wiring().now())
    return url_for("shoes.stock")


def _one(shoe_id: UUID, state: FormState, status: int = 200) -> ResponseReturnValue:
    with wiring().database.reading() as session:
        row = stock_shoe_for(session, current_actor(), shoe_id)
        shape = shape_of(row)
        html = render_template(
            "shoes/show.html",
            form=state,
            shoe_id=shoe_id,
            revision=row.revision,
            name=shoe_name(row.category, row.size_label),
            typed={name: _written(value) for name, value in asdict(line_of(row)).items()},
            drawing=small_svg(shape),
            facts=facts_said(shape),
            papers=NAMES,
            **_choices(),
        )
    return make_response(html, status)


@blueprint.get("/shoes/<uuid:shoe_id>/outline.pdf")
@sign_in_required
def outline(shoe_id: UUID) -> ResponseReturnValue:
    """Give the outline of a shoe of the stock at true size."""
    with wiring().database.reading() as session:
        row = stock_shoe_for(session, current_actor(), shoe_id)
        shape, name = shape_of(row), shoe_name(row.category, row.size_label)
    paper = request.args.get("paper", "a4")
    return _file(outline_pdf(shape, name, shape_lines(shape), paper), "outline.pdf")


@blueprint.get("/shoes/stock.csv")
@sign_in_required
def give_out() -> ResponseReturnValue:
    """Give out the stock of one forge as a list."""
    forge = forge_of(current_actor(), request.args.get("forge"))
    with wiring().database.reading() as session:
        rows = stock_for(session, current_actor())
        lines = [line_of(row) for row in rows if row.organisation_id == forge.organisation_id]
    data = write_stock(lines, comma=request.args.get("decimal") == "comma")
    return _file(data, "shoes.csv", "text/csv; charset=utf-8")


@blueprint.get("/shoes/list")
@sign_in_required
def new_list() -> ResponseReturnValue:
    """Show the form that takes in a list."""
    return _list(FormState())


@blueprint.post("/shoes/list")
@sign_in_required
def take_list() -> ResponseReturnValue:
    """Take in a list whole, or nothing of it."""
    forges_of(current_actor())
    try:
        answer = _once(_taken)
    except REFUSALS as error:
        return _list(*_refused(error))
    flash("The list is taken in.")
    return answer


def _taken(session: Any) -> str:  # noqa: ANN401 - as above
    given = load_form(ListForm(), request.form)
    file = request.files.get("list")
    if file is None or not file.filename:
        raise Invalid(NO_FILE, {"list": [NO_FILE]})
    forge = forge_of(current_actor(), given["forge"])
    lines = read_stock(file.stream.read(LARGEST_BYTES + 1))
    in_place = given["way"] == "in_place"
    take_in(session, current_actor(), forge, lines, wiring().now(), in_place=in_place)
    return url_for("shoes.stock")


def _list(state: FormState, status: int = 200) -> ResponseReturnValue:
    columns = ", ".join(COLUMNS)
    html = render_template("shoes/list.html", form=state, columns=columns, ways=WAYS, **_choices())
    return make_response(html, status)


def _once(act: Callable[[Any], str]) -> ResponseReturnValue:
    wired = wiring()
    with wired.database.transaction() as session:
        return do_once(session, current_actor().person_id, wired.now(), lambda: act(session))


def _refused(error: Exception) -> tuple[FormState, int]:
    """Return the form as typed with what the error says, and the status that goes with it."""
    if isinstance(error, Invalid):
        return state_of_form(request.form, error), UNUSABLE
    status = MOVED_ON if isinstance(error, OutOfDate) else 413
    return state_of_form(request.form, Invalid(str(error))), status


def _revision() -> int | None:
    said = request.form.get("revision", "")
    return int(said) if said.isascii() and said.isdigit() and len(said) < 10 else None  # noqa: PLR2004 - no row is changed so often


def _choices() -> Mapping[str, Any]:
    return {
        "key": new_key(),
        "categories": CATEGORIES,
        "materials": MATERIALS,
        "forges": [(each.organisation_id, each.name) for each in forges_of(current_actor())],
    }


def _written(value: object) -> object:
    return f"{value:g}" if isinstance(value, float) else value


def _file(data: bytes, name: str, content_type: str = "application/pdf") -> Response:
    answer = make_response(data)
    answer.headers["Content-Type"] = content_type
    way = "attachment" if name.endswith(".csv") else "inline"
    answer.headers["Content-Disposition"] = f'{way}; filename="{name}"'
    return answer
