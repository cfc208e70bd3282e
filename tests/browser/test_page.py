"""Pages in a real browser: they load without a network, draw, can be read by all, and print."""

from __future__ import annotations

import re

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.conftest import Opener
from tests.browser.looking import Browser

pytestmark = pytest.mark.slow

PAGES = ("flight", "dispersion", "hold")
PHONE = {"width": 390, "height": 844}

_PIXELS = """
const canvas = document.querySelector('.view canvas'), count = {};
const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
for (let k = 0; k < data.length; k += 4) {
  if (data[k + 3] > 200) {
    const colour = [data[k], data[k + 1], data[k + 2]].join();
    count[colour] = (count[colour] || 0) + 1;
  }
}
return count;
"""
_BOXES = """
return [...document.querySelectorAll('figure svg')].filter((x) => !x.closest('.view'))
  .map((x) => { const b = x.getBoundingClientRect(), i = x.getBBox();
    return [x.querySelector('title').textContent, b.width, b.height, i.width, i.height]; });
"""
_OVERFLOW = """
const wide = document.documentElement.clientWidth;
return [...document.querySelectorAll('main *')].filter((x) => {
  if (x.closest('.wide') || x.closest('svg')) return false;
  const b = x.getBoundingClientRect();
  return b.width > 0 && b.right > wide + 1;
}).map((x) => x.outerHTML.slice(0, 120));
"""


def pixels(page: Browser) -> dict[str, int]:
    """How many opaque pixels of the view have which colour, the rare ones left out."""
    return {colour: n for colour, n in page.ask(_PIXELS).items() if n >= 20}


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_loads_and_draws(browse: Opener, name: str, scheme: str) -> None:
    """No complaint, no request but the file's; every figure has a size, the view its colours."""
    page = browse(name, scheme=scheme)
    assert page.complaints() == []
    own, every = page.requested()
    assert own == [page.page]
    assert not [address for address in every if address.startswith(("http", "ws", "ftp"))]
    boxes = page.ask(_BOXES)
    assert len(boxes) >= 5
    assert all(min(sizes) > 50 for _, *sizes in boxes), boxes
    assert len(pixels(page)) >= 4


@pytest.mark.parametrize("name", PAGES)
def test_everyone_can_read_it(browse: Opener, name: str) -> None:
    """axe-core finds nothing on a wide light page and on a narrow dark one."""
    assert browse(name).violations() == []
    assert browse(name, **PHONE, scheme="dark").violations() == []


@pytest.mark.parametrize("name", PAGES)
def test_on_a_phone(browse: Opener, name: str) -> None:
    """Nothing is wider than the screen but what scrolls within itself; text is large enough."""
    page = browse(name, **PHONE)
    assert page.ask("return document.documentElement.scrollWidth") <= 390
    assert page.ask(_OVERFLOW) == []
    assert (
        page.ask("return parseFloat(getComputedStyle(document.querySelector('p')).fontSize)") >= 14
    )


def test_the_scheme_is_the_readers(browse: Opener) -> None:
    """Dark text on light, light text on dark, and each the other way on the page's ground."""
    for scheme, light in (("light", True), ("dark", False)):
        page = browse("flight", scheme=scheme)
        ground = page.ask("return getComputedStyle(document.body).backgroundColor")
        assert (int(re.findall(r"\d+", ground)[0]) > 128) is light


def test_it_prints(browse: Opener) -> None:
    """Some pages of PDF in light colours; the still picture instead of the view's canvas."""
    page = browse("flight", scheme="dark")
    paper = page.printed()
    assert paper.startswith(b"%PDF")
    assert 5 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 25
    page.on_paper()
    shown = "return getComputedStyle(document.querySelector(arguments[0])).display"
    assert page.ask(shown, ".view canvas") == "none"
    assert page.ask(shown, ".view .still") == "block"
    assert page.ask(shown, "nav") == "none"
    assert page.ask("return getComputedStyle(document.body).color") == "rgb(29, 39, 51)"


def test_the_view_turns_by_keyboard(browse: Opener) -> None:
    """Focus, arrows and Home: the picture changes, and comes back as it was."""
    page = browse("flight")
    canvas = page.driver.find_element(By.CSS_SELECTOR, ".view canvas")
    picture = "return document.querySelector('.view canvas').toDataURL()"
    settled = "requestAnimationFrame(() => requestAnimationFrame(arguments[0]))"
    page.ask("arguments[0].focus()", canvas)

    def after(key: str) -> str:
        page.driver.switch_to.active_element.send_keys(key)
        page.driver.execute_async_script(settled)
        return str(page.ask(picture))

    first = page.ask(picture)
    left, up, nearer = (after(key) for key in (Keys.ARROW_LEFT, Keys.ARROW_UP, "+"))
    assert len({first, left, up, nearer}) == 4
    assert after("-") == up
    assert after(Keys.ARROW_DOWN) == left
    assert after(Keys.ARROW_RIGHT) == first
    assert after(Keys.ARROW_RIGHT) != first
    assert after(Keys.HOME) == first


def test_the_buttons_and_the_clock(browse: Opener) -> None:
    """At the start of the flight no way is flown and no burn made; the last button turns back."""
    page = browse("flight")
    settled = "requestAnimationFrame(() => requestAnimationFrame(arguments[0]))"

    def colour(name: str) -> str:
        ask = "return getComputedStyle(document.body).getPropertyValue(arguments[0])"
        value = page.ask(ask, f"--{name}").strip()
        return ",".join(str(int(value[k : k + 2], 16)) for k in (1, 3, 5))

    way, burns, before = colour("c1"), colour("c2"), colour("c4")
    arrived = pixels(page)
    assert {way, burns, before} <= set(arrived)
    page.ask(
        "const s = document.querySelector('.view input'); s.value = s.min;"
        "s.dispatchEvent(new Event('input'))"
    )
    page.driver.execute_async_script(settled)
    begun = pixels(page)
    assert burns not in begun
    assert arrived[way] > 3 * begun[way]  # the craft's disc, without the way behind it
    assert page.ask("return document.querySelector('.view output').textContent").startswith("0.00")
    picture = "return document.querySelector('.view canvas').toDataURL()"
    unturned = page.ask(picture)
    for button in page.driver.find_elements(By.CSS_SELECTOR, ".view .buttons button"):
        button.click()
        page.driver.execute_async_script(settled)
        if button.get_attribute("data-do") == "edge":
            assert page.ask(picture) != unturned
    assert page.ask(picture) == unturned  # the last button goes back to the beginning


def test_without_scripts(browse: Opener) -> None:
    """The still picture stands where the view would, and no dead buttons."""
    page = browse("flight", scripts=False)
    assert page.driver.find_element(By.CSS_SELECTOR, ".view .still").is_displayed()
    assert not page.driver.find_element(By.CSS_SELECTOR, ".view button").is_displayed()


def test_by_keyboard_from_the_top(browse: Opener) -> None:
    """The first stop is the link past the sections, which then is seen."""
    page = browse("flight")
    page.driver.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
    link = page.driver.switch_to.active_element
    assert link.get_attribute("class") == "skip"
    assert link.location["x"] >= 0
