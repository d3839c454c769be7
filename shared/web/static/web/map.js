// Draws the figures with data-map. Each page says the same in words, so that nothing is lost where this does not run.
"use strict";

(() => {
  const MARK_PIXELS = 26;
  const NEAREST = 17; // how near a map comes by itself
  const NAMES_FROM = 15; // nearness from which streets are named
  const MOST_NAMES = 60;
  const NAME_PIXELS = 6; // a letter of a street's name, about
  const OVER_OTHERS = { stop: 1000, yard: 500 };
  const ROADS = { // width in pixels of each class of road; all others are 1 wide
    motorway: 4, motorway_link: 2, trunk: 4, trunk_link: 2, primary: 3, secondary: 3, tertiary: 2,
    unclassified: 2, residential: 2,
  };

  const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function element(tag, className, text) {
    const made = document.createElement(tag);
    made.className = className;
    made.textContent = text ?? "";
    return made;
  }

  // --- marks and lines ---

  function pinOf(properties) {
    const pin = element("span", `pin pin-${properties.shape}`);
    pin.append(element("span", "", properties.text));
    // A pin stands on its tip, all other marks lie over their place.
    const tip = [MARK_PIXELS / 2, properties.shape === "place" ? MARK_PIXELS : MARK_PIXELS / 2];
    return L.divIcon({ className: "map-mark", html: pin, iconSize: [MARK_PIXELS, MARK_PIXELS], iconAnchor: tip });
  }

  function wordsOf(properties) {
    const words = element("div", "");
    const title = element(properties.href ? "a" : "strong", "", properties.title);
    if (properties.href) {
      title.href = properties.href;
    }
    words.append(title);
    if (properties.note) {
      words.append(element("br"), element("span", "", properties.note));
    }
    return words;
  }

  // Marks are not reached by the keyboard: the page lists the same places with their links.
  function markOf(feature, place) {
    const { properties } = feature;
    const mark = L.marker(place, {
      icon: pinOf(properties), title: properties.title, keyboard: false, zIndexOffset: OVER_OTHERS[properties.shape] ?? 0,
    });
    return mark.bindPopup(() => wordsOf(properties));
  }

  function layerOf(data) {
    return L.geoJSON(data, {
      pointToLayer: markOf,
      style: (feature) => ({ className: `leg leg-${feature.properties.style}`, interactive: false }),
    });
  }

  const isLine = (feature) => feature.geometry.type !== "Point";

  // The lines along the streets take the place of the straight ones when they have come.
  async function followStreets(url, lines) {
    const answer = await fetch(url, { credentials: "same-origin" });
    if (!answer.ok) {
      return;
    }
    const found = (await answer.json()).features.filter(isLine);
    if (found.length) {
      lines.clearLayers();
      lines.addData(found);
    }
  }

  // --- the ground ---

  function roadStyle(feature) {
    const width = ROADS[feature.properties.class] ?? 1;
    return { color: token(width > 2 ? "--rule-strong" : "--rule"), weight: width, opacity: 1 };
  }

  // The part of the map that is seen, rounded outwards to half tiles, so that small moves ask for nothing new.
  function boxOf(map) {
    const step = 180 / 2 ** map.getZoom();
    const seen = map.getBounds();
    const down = (degrees) => Math.floor(degrees / step) * step;
    const up = (degrees) => Math.ceil(degrees / step) * step;
    return [
      Math.max(-180, down(seen.getWest())), Math.max(-90, down(seen.getSouth())),
      Math.min(180, up(seen.getEast())), Math.min(90, up(seen.getNorth())),
    ].map((degrees) => degrees.toFixed(5)).join(",");
  }

  // How long a feature is, and its longest straight piece that is seen, along which its name is written.
  function longestPiece(map, feature) {
    const seen = L.bounds(map.containerPointToLayerPoint([0, 0]), map.containerPointToLayerPoint(map.getSize()));
    let best = { pixels: 0 };
    let whole = 0;
    for (const line of feature.geometry.coordinates) {
      const points = line.map(([east, north]) => map.latLngToLayerPoint([north, east]));
      points.slice(1).forEach((to, at) => {
        const from = points[at];
        const pixels = from.distanceTo(to);
        whole += pixels;
        if (pixels > best.pixels && seen.contains(from.add(to).divideBy(2))) {
          best = { pixels, from, to };
        }
      });
    }
    return { ...best, whole };
  }

  const slopeOf = ({ from, to }) => Math.atan((to.y - from.y) / (to.x - from.x || 1e-9));

  // The upright box around a name, with a little air.
  function boxOfName(name, line) {
    const half = NAME_PIXELS * name.length / 2;
    const middle = line.from.add(line.to).divideBy(2);
    const reach = L.point(Math.abs(Math.cos(slopeOf(line))) * half + 7, Math.abs(Math.sin(slopeOf(line))) * half + 7);
    return L.bounds(middle.subtract(reach), middle.add(reach));
  }

  function streetName(map, name, line) {
    const words = element("span", "", name);
    words.style.rotate = `${slopeOf(line)}rad`;
    const icon = L.divIcon({ className: "map-street", html: words, iconSize: [0, 0] });
    const middle = map.layerPointToLatLng(line.from.add(line.to).divideBy(2));
    return L.marker(middle, { icon, interactive: false, keyboard: false, zIndexOffset: -1000 });
  }

  function nameStreets(map, roads, names) {
    names.clearLayers();
    if (map.getZoom() < NAMES_FROM) {
      return;
    }
    const named = roads.features.filter((feature) => feature.properties.name)
      .map((feature) => ({ name: feature.properties.name, line: longestPiece(map, feature) }))
      .filter(({ name, line }) => line.from && line.whole > NAME_PIXELS * name.length)
      .sort((a, b) => b.line.whole - a.line.whole);
    const taken = [];
    for (const { name, line } of named) {
      const box = boxOfName(name, line);
      if (taken.length < MOST_NAMES && !taken.some((other) => other.overlaps(box))) {
        taken.push(box);
        names.addLayer(streetName(map, name, line));
      }
    }
  }

  function drawRoads(map, url) {
    const ground = L.geoJSON(null, { interactive: false, style: roadStyle, renderer: L.canvas({ padding: 0.2 }) });
    const names = L.layerGroup().addTo(map);
    let asked = "";
    ground.addTo(map);
    async function load() {
      const address = `${url}?bbox=${boxOf(map)}&zoom=${Math.round(map.getZoom())}`;
      if (address === asked) {
        return;
      }
      asked = address;
      const answer = await fetch(address, { credentials: "same-origin" });
      if (!answer.ok || asked !== address) {
        return;
      }
      const roads = await answer.json();
      ground.clearLayers();
      ground.addData(roads);
      nameStreets(map, roads, names);
    }
    map.on("moveend", load);
    load();
  }

  // --- setting a place by hand ---

  function letPick(map, form) {
    const fields = [form.elements.latitude, form.elements.longitude];
    const pin = L.marker([0, 0], { icon: pinOf({ shape: "place" }), draggable: true, keyboard: false });
    const write = (place) => [place.lat, place.lng].forEach((degrees, k) => {
      fields[k].value = degrees.toFixed(6);
    });
    const read = () => {
      const [lat, lng] = fields.map((field) => Number.parseFloat(field.value));
      const isPlace = Math.abs(lat) <= 90 && Math.abs(lng) <= 180;
      if (isPlace) {
        pin.setLatLng([lat, lng]).addTo(map);
      }
      return isPlace;
    };
    map.on("click", ({ latlng }) => {
      write(latlng.wrap());
      read();
    });
    pin.on("dragend", () => write(pin.getLatLng().wrap()));
    fields.forEach((field) => field.addEventListener("change", () => read() && map.panTo(pin.getLatLng())));
    if (read()) {
      map.setView(pin.getLatLng(), NEAREST - 1);
    }
  }

  // --- one map ---

  function lookAt(map, layers) {
    const bounds = layers.reduce((all, layer) => all.extend(layer.getBounds()), L.latLngBounds([]));
    if (bounds.isValid()) {
      map.fitBounds(bounds, { padding: [MARK_PIXELS, MARK_PIXELS], maxZoom: NEAREST, animate: false });
    } else {
      map.setView([0, 0], 2);
    }
  }

  function draw(figure) {
    const { roads, source, pick, tiles, nearer, farther } = figure.dataset;
    const data = JSON.parse(figure.querySelector("script").textContent);
    figure.hidden = false;
    const map = L.map(figure.querySelector(".map-canvas"), {
      zoomControl: false, attributionControl: false, scrollWheelZoom: false, zoomAnimation: false, fadeAnimation: false,
      zoomSnap: 0.25, zoomDelta: 1,
    });
    L.control.zoom({ zoomInTitle: nearer, zoomOutTitle: farther }).addTo(map);
    L.control.scale({ metric: false }).addTo(map);
    const lines = layerOf({ ...data, features: data.features.filter(isLine) }).addTo(map);
    const marks = layerOf({ ...data, features: data.features.filter((feature) => !isLine(feature)) }).addTo(map);
    lookAt(map, [lines, marks]);
    if (pick) {
      letPick(map, document.getElementById(pick));
    }
    if (tiles) {
      L.tileLayer(tiles, { maxZoom: 19 }).addTo(map);
    } else if (roads) {
      drawRoads(map, roads);
    }
    if (source) {
      followStreets(source, lines);
    }
    document.querySelectorAll("[data-without-map]").forEach((part) => {
      part.hidden = true;
    });
  }

  function drawAll() {
    document.querySelectorAll("[data-map][hidden]").forEach(draw);
  }

  document.addEventListener("DOMContentLoaded", drawAll);
  document.addEventListener("htmx:afterSettle", drawAll);
})();
