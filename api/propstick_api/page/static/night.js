// A handle on the time axis of a night's picture: it sets the time that the what-if's form asks about.
// Without it the form does the same.
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const main = document.getElementById("main");

  const setUp = () => {
    const form = document.getElementById("what-if");
    if (!form) return;
    const { box, at } = form.elements;
    const handle = document.createElement("input");
    Object.assign(handle, { type: "range", id: "handle", className: "handle", min: 0 });
    handle.setAttribute("form", form.id); // so that Enter asks
    handle.setAttribute("aria-label", form.dataset.handle);
    const plumb = document.createElementNS(SVG, "line");
    plumb.setAttribute("class", "ps-l-said");
    plumb.setAttribute("stroke-dasharray", "2 3");
    let clocks, said, place;

    const show = () => {
      const k = handle.valueAsNumber;
      handle.setAttribute("aria-valuetext", said[k]);
      const share = place.begin + (place.end - place.begin) * (k / Math.max(clocks.length - 1, 1));
      const x = place.left + (place.right - place.left) * share;
      plumb.setAttribute("x1", x);
      plumb.setAttribute("x2", x);
    };

    const takeTyped = () => {
      const k = clocks ? clocks.indexOf(at.value.slice(0, 4) + (at.value[4] < "5" ? "0" : "5")) : -1;
      if (k < 0) return;
      handle.value = k;
      show();
    };

    const put = () => {
      const axis = main.querySelector(`figure[data-clocks] g.ps-hours[data-box="${CSS.escape(box.value)}"]`);
      handle.hidden = !axis;
      if (!axis) { handle.remove(); plumb.remove(); return; }
      const figure = axis.closest("figure");
      const svg = axis.ownerSVGElement;
      clocks = figure.dataset.clocks.split(" ");
      said = figure.dataset.said.split("|");
      const number = (key) => Number(axis.dataset[key]);
      place = { left: number("left"), right: number("right"),
                begin: Number(figure.dataset.begin), end: Number(figure.dataset.end) };
      const { width, height } = svg.viewBox.baseVal;
      const from = place.left + (place.right - place.left) * place.begin;
      const to = place.left + (place.right - place.left) * place.end;
      handle.max = clocks.length - 1;
      handle.style.setProperty("--from", `${(100 * from) / width}%`);
      handle.style.setProperty("--long", `${(100 * (to - from)) / width}%`);
      handle.style.setProperty("--axis", `${(100 * number("bottom")) / height}%`);
      plumb.setAttribute("y1", number("top"));
      plumb.setAttribute("y2", number("bottom"));
      axis.before(plumb);
      figure.append(handle);
      takeTyped();
      show();
    };

    let dragged = false;
    handle.addEventListener("pointerdown", () => { dragged = true; });
    handle.addEventListener("input", () => { at.value = clocks[handle.valueAsNumber]; show(); });
    handle.addEventListener("change", () => {
      if (dragged) form.requestSubmit(); // let go: ask; the arrow keys only set the time
      dragged = false;
    });
    at.addEventListener("input", takeTyped);
    box.addEventListener("change", put);
    form.addEventListener("submit", (event) => { event.preventDefault(); ask(form); });
    put();
  };

  // The page with the answer takes this one's place where it stands, so that the picture does not jump.
  const ask = async (form) => {
    const address = `?${new URLSearchParams(new FormData(form))}`;
    main.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(address);
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("main");
      const focused = document.activeElement?.id;
      main.replaceChildren(...fresh.childNodes);
      history.replaceState(null, "", address);
      setUp();
      if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    } catch {
      location.assign(address);
    } finally {
      main.removeAttribute("aria-busy");
    }
  };

  setUp();
})();
