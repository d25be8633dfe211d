"""Takes the pictures of README.md anew: ``python tests/helpers/take_pictures.py``.

It opens the invented studio in a browser (Debian: chromium-driver) and does what README.md says.
"""

import io
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.browser import DESKTOP, PHONE, browsing, press, served, shot

PICTURES = Path(__file__).parents[2] / "sample_data" / "pictures"
COLOURS = 48  # paper, ink and a few tones; a page is then some tens of kilobytes


def main():
    """Take every picture."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as none, served(none, "--demo") as page:
        page.learned()
        with browsing(DESKTOP) as desktop:
            desktop.get(f"{page.url}/pot?piece=bowl+2&firing=Old+Nan")
            taken(desktop, "plan_desktop")
        with browsing(PHONE) as phone:
            walk(phone, page.url)


def walk(phone, url):
    """The four things, on a phone; the kiln last, since what is opened there is learned."""
    phone.get(f"{url}/pot?piece=bowl+2&firing=Old+Nan")
    taken(phone, "plan_form")
    phone.execute_script("document.getElementById('answer').scrollIntoView({behavior: 'instant'})")
    phone.execute_script("window.scrollBy(0, -70)")
    taken(phone, "plan_answer")
    phone.get(f"{url}/load?firing=Old+Nan")
    taken(phone, "load")
    phone.get(f"{url}/back")
    taken(phone, "back")
    phone.get(f"{url}/kiln?firing=Dabchick")
    first, second = (
        box.get_attribute("data-pot")
        for box in phone.find_elements("css selector", "[data-pot]")[:2]
    )
    press(phone, f"label[for='fate-{first}-1-fine']")
    time.sleep(1.5)
    press(phone, f"label[for='fate-{second}-2-ran']")
    phone.find_element("css selector", f"#run-{second}-2").send_keys("4")
    taken(phone, "kiln")


def taken(driver, name):
    """One picture, of what stands in the window."""
    time.sleep(1.0)
    file = PICTURES / f"{name}.png"
    shot(driver, file, whole=False)
    small = io.BytesIO()
    Image.open(file).convert("RGB").quantize(COLOURS).save(small, "PNG", optimize=True)
    file.write_bytes(small.getvalue())


if __name__ == "__main__":
    main()
