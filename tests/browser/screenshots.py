"""Takes a picture of every page of every role at both widths.

    python -m tests.browser.screenshots FOLDER [ADDRESS owner:PASSWORD office:PASSWORD lead:PASSWORD]

Without an address the demo company is made and served for it.
"""

import os
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

import django

from tests.browser.chromium import NARROW, WIDE, chromium
from tests.browser.demo_site import DemoSite, demo_site
from tests.browser.visit import ROLES, every_page, send_out, signed_in


def name_of(role: str, route: str, width: int) -> str:
    """`owner, jobs/<row:job_id>/, 360` -> `owner-jobs-job_id-360.png`."""
    words = (
        route.strip("/").replace("<", "").replace(">", "").replace("row:", "").replace("slug:", "").replace("day:", "")
    )
    return f"{role.replace(' ', '_') or 'nobody'}-{words.replace('/', '-') or 'today'}-{width}.png"


def take_all(site: DemoSite, folder: Path) -> int:
    """Returns how many pictures were taken. The day is sent out first, so that the crew has a route to look at."""
    taken = 0
    with chromium() as browser:
        send_out(browser, site)
        for width in (WIDE, NARROW):
            for role in ("", *ROLES):
                context = signed_in(browser, site, role, width)
                page = context.new_page()
                for at in every_page(page, role, "/" if role else "/sign-in/"):
                    page.screenshot(path=str(folder / name_of(role, at.route, width)), full_page=True)
                    taken += 1
                context.close()
    return taken


def site_of(arguments: list[str]) -> DemoSite:
    address, *pairs = arguments
    names = [pair.partition(":") for pair in pairs]
    parts = urlsplit(address)
    people = {role: (name, password) for role, (name, _, password) in zip(ROLES, names, strict=True)}
    return DemoSite(f"{parts.scheme}://{parts.netloc}", people)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    if len(sys.argv) > 2:
        print(take_all(site_of(sys.argv[2:]), folder), "pictures")  # noqa: T201
        return
    with tempfile.TemporaryDirectory() as scratch, demo_site(Path(scratch)) as site:
        print(take_all(site, folder), "pictures")  # noqa: T201


if __name__ == "__main__":
    main()
