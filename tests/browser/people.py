"""People at a screen: what each does, in the words that stand on the page."""

from dataclasses import dataclass, field

from playwright.sync_api import BrowserContext, Page, expect

from tests.factories import PASSWORD


@dataclass
class Someone:
    """One person in a browser of their own; anything the browser complains of is kept."""

    page: Page
    address: str
    faults: list[str] = field(default_factory=list)

    def go(self, path: str) -> int:
        """Open a page and return its status."""
        answer = self.page.goto(self.address + path)
        return answer.status if answer else 0

    def fill(self, **typed: str) -> None:
        """Type into fields by their names; two underscores stand for a dash."""
        for name, text in typed.items():
            self.page.locator(f"[name='{name.replace('__', '-')}']").fill(text)

    def choose(self, **chosen: str) -> None:
        """Choose in lists by their names."""
        for name, value in chosen.items():
            self.page.locator(f"select[name='{name.replace('__', '-')}']").select_option(value)

    def tick(self, name: str, value: str) -> None:
        """Tick one choice."""
        self.page.locator(f"[name='{name}'][value='{value}']").check()

    def press(self, label: str) -> None:
        """Press a button or follow a link that is called so, and wait for the next page."""
        button = self.page.locator("main").get_by_role("button", name=label, exact=True)
        link = self.page.locator("main").get_by_role("link", name=label, exact=True)
        with self.page.expect_navigation():
            button.or_(link).first.click()

    def sees(self, text: str) -> None:
        """Wait until the page says this."""
        expect(self.page.locator("body")).to_contain_text(text)

    def turn(self) -> str:
        """Return what the desk says waits on this person first."""
        self.go("/")
        return self.page.get_by_label("Waiting on you").inner_text()


def someone(context: BrowserContext, address: str, email: str) -> Someone:
    """Sign a person in and return them at their desk."""
    page = context.new_page()
    who = Someone(page, address)
    page.on("pageerror", lambda error: who.faults.append(str(error)))
    page.on(
        "console",
        lambda said: who.faults.append(said.text) if "Security" in said.text else None,
    )
    who.go("/sign-in?next=/")
    who.fill(email=email, password=PASSWORD)
    with page.expect_navigation():
        page.locator("main button[type=submit]").click()
    expect(page.get_by_role("heading", name="Your cases")).to_be_visible()
    return who


def tap_film(page: Page, at_px: list[float], size_px: tuple[int, int]) -> None:
    """Click the place on screen at which a point of the original is shown."""
    page.evaluate("document.querySelector('[data-view]').scrollIntoView()")
    shown = page.locator("[data-film]").bounding_box()
    assert shown is not None
    page.mouse.click(
        shown["x"] + at_px[0] * shown["width"] / size_px[0],
        shown["y"] + at_px[1] * shown["height"] / size_px[1],
    )


def type_place(page: Page, slot: str, at_px: list[float]) -> None:
    """Type a landmark's place into the editor's list."""
    row = page.locator(f"[data-slot='{slot}']")
    row.locator("[data-x]").fill(f"{at_px[0]:.2f}")
    row.locator("[data-y]").fill(f"{at_px[1]:.2f}")
    row.locator("[data-y]").press("Tab")
