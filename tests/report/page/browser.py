"""A real Chromium, driven: what the page's reader sees and does, without a network."""

from __future__ import annotations

import base64
import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
ABSENT = "no Chromium with its driver on this machine: apt-get install chromium chromium-driver"

# The contrast of every piece of text with the ground it stands on, as WCAG 2.2 computes it; the worst ones.
CONTRAST = """
function channels(text) { return (text.match(/[\\d.]+/g) || []).map(Number); }
function luminance(rgb) {
  var lin = rgb.slice(0, 3).map(function (v) {
    v /= 255; return v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4); });
  return 0.2126 * lin[0] + 0.7152 * lin[1] + 0.0722 * lin[2];
}
function ground(element) {
  for (var at = element; at; at = at.parentElement) {
    var rgb = channels(getComputedStyle(at).backgroundColor);
    if (rgb.length === 3 || rgb[3] > 0) { return rgb; }
  }
  return [255, 255, 255];
}
var walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [], node;
while ((node = walker.nextNode())) {
  var owner = node.parentElement, style = getComputedStyle(owner);
  if (!node.textContent.trim() || !owner.getClientRects().length || style.visibility === "hidden") { continue; }
  if (["SCRIPT", "STYLE", "OPTION"].includes(owner.tagName)) { continue; }
  var ink = owner.closest("svg") ? style.fill : style.color;
  var one = luminance(channels(ink)), two = luminance(ground(owner));
  var ratio = (Math.max(one, two) + 0.05) / (Math.min(one, two) + 0.05);
  found.push([ratio, node.textContent.trim().slice(0, 40), ink, String(ground(owner))]);
}
return found.sort(function (p, q) { return p[0] - q[0]; }).slice(0, 5);
"""


class Browser:
    """One page open; what it says, asks for and complains of."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def show(self, page: Path, width: int, scheme: str = "light") -> None:
        """Open the page at this width in CSS pixels, light or dark."""
        self.logs("performance"), self.logs("browser")  # what came before is another page's
        self.command(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=900,
            deviceScaleFactor=1,
            mobile=width < 500,
        )
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.command("Emulation.setEmulatedMedia", features=features)
        self.driver.get(page.as_uri())

    def command(self, name: str, **arguments: Any) -> Any:
        return self.driver.execute_cdp_cmd(name, arguments)

    def run(self, script: str, *arguments: Any) -> Any:
        return self.driver.execute_script(script, *arguments)

    def logs(self, kind: str) -> list[dict[str, Any]]:
        return list(self.driver.get_log(kind))

    def requests(self) -> list[str]:
        """Every address asked for since the page was opened."""
        messages = [json.loads(entry["message"])["message"] for entry in self.logs("performance")]
        return [
            message["params"]["request"]["url"]
            for message in messages
            if message["method"] == "Network.requestWillBeSent"
        ]

    def roles(self) -> list[tuple[str, str]]:
        """(role, name) of everything a screen reader finds."""
        nodes = self.command("Accessibility.getFullAXTree")["nodes"]
        return [
            (node["role"]["value"], node.get("name", {}).get("value", ""))
            for node in nodes
            if not node["ignored"]
        ]

    def pdf(self) -> bytes:
        """The page on A4."""
        printed = self.command("Page.printToPDF", preferCSSPageSize=True, paperWidth=8.27, paperHeight=11.69)
        return base64.b64decode(printed["data"])


def pages_of(pdf: bytes) -> int:
    """How many sheets: the largest count in the tree of pages."""
    return max(int(found) for found in re.findall(rb"/Count (\d+)", pdf))


@contextmanager
def open_browser() -> Iterator[Browser]:
    assert CHROMIUM is not None
    assert DRIVER is not None
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        "--hide-scrollbars",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
