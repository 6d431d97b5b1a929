"use strict";
// What people say that sounds are, and whose: of one event, or of a whole group of alike ones.
// Whether a sound counts is decided as the program does when it reads the file.

const LONGEST_LABEL = 200;
const OWN = ["room", "sleeper"];
const WHOSE = [["", "not said"], ["outside", "from outside"], ["room", "the room's own"], ["sleeper", "the sleeper's own"]];

// Groups by name, with their events; a night may name groups that its table of groups lacks.
function groupsOf(night) {
  const groups = new Map(night.groups.map((group) => [group.name, { ...group, events: [] }]));
  for (const event of night.events) {
    if (!event.group) continue;
    if (!groups.has(event.group)) groups.set(event.group, { name: event.group, label: "", whose: "", typical: event.number, events: [] });
    groups.get(event.group).events.push(event);
  }
  return groups;
}

// Whose a sound is: as said, or as its label alone tells.
function saidWhose(night, named) {
  if (named.whose || !named.label) return named.whose;
  const found = night.own_words.find(([, words]) => new RegExp(`^(?:${words})$`, "i").test(named.label));
  return found ? found[0] : "";
}

// What is said to come from outside counts, whatever else is said of it.
function isOwn(night, event) {
  const said = [saidWhose(night, event), ...event.told_whose];
  if (event.group) said.push(saidWhose(night, night.groups.get(event.group)));
  return said.some((whose) => OWN.includes(whose)) && !said.includes("outside");
}

const leftOut = (night, event) => (event.kept_out === undefined ? isOwn(night, event) : event.kept_out);

function isNamed(night, event) {
  const group = event.group ? night.groups.get(event.group) : null;
  return Boolean(event.label || event.whose || event.told || event.kept_out || (group && (group.label || group.whose)));
}

// The two fields in which an event or a group is named.
function namingFields(night, named, prefix, unless, onChange) {
  const id = (name) => (prefix ? `${prefix}-${name}` : name);
  const input = element("input", {
    type: "text", id: id("label"), maxlength: LONGEST_LABEL, list: id("labels"), autocomplete: "off", placeholder: unless || "",
    onchange: () => { named.label = input.value.trim(); onChange(); },
  });
  input.value = named.label;
  const names = new Set([...night.events, ...night.groups.values()].map((each) => each.label).filter(Boolean));
  const whose = element("select", { id: id("whose"), onchange: () => { named.whose = whose.value; onChange(); } },
    ...WHOSE.map(([value, text]) => element("option", { value }, text)));
  whose.value = named.whose;
  return [
    element("label", {}, "What was it? ", input),
    element("datalist", { id: id("labels") }, ...[...names].map((name) => element("option", { value: name }))),
    element("label", {}, "Whose sound? ", whose),
  ];
}

// What "assess --labels" reads: groups by their names, stretches and events by their times.
function labelsFile(night) {
  const harmless = (text) => (/^[=+\-@\t\r\n＝＋－＠]/.test(text) ? `'${text}` : text);
  const cell = (text) => `"${harmless(text).replaceAll('"', '""')}"`;
  const row = (start, end, named, group = "") => [start, end, cell(named.label || "no name given"), named.whose, group && cell(group)].join(",");
  const rows = [];
  for (const group of night.groups.values()) if (group.label || group.whose) rows.push(row("", "", group, group.name));
  for (const span of night.other_spans) rows.push(row(span.start, span.end, span));
  for (const event of night.events) if (event.label || event.whose) rows.push(row(event.start, event.end, event));
  return ["start,end,label,whose,group", ...rows, ""].join("\r\n");
}

// One group opened: its name, its events, and what the night comes to without it.
class GroupPanel {
  constructor(night, events, box) {
    Object.assign(this, { night, events, box, rows: new Map() });
    for (const cell of document.querySelectorAll("#recurring tbody th")) {
      const name = cell.textContent, group = night.groups.get(name);
      if (!group || !group.events.length) continue;
      this.rows.set(name, cell.parentElement);
      const open = () => this.show(group);
      cell.replaceChildren(element("button", { type: "button", class: "opener", "aria-label": `Name ${name}`, onclick: open }, name));
    }
    events.listeners.push(() => this.mark());
  }

  show(group) {
    const count = group.events.length, changed = () => this.events.changed();
    const typical = group.events.find((event) => event.number === group.typical) || group.events[0];
    const opener = (event) => element("button", { type: "button", class: "opener", "aria-label": `Open event ${event.number}`, onclick: () => this.events.open(event) }, String(event.number));
    this.box.hidden = false;
    this.box.replaceChildren(
      element("h3", { id: "group-h", tabindex: "-1" }, `${group.name}: ${count} event${count === 1 ? "" : "s"}`),
      element("p", {}, `Most typical is event ${typical.number} at ${typical.clock}. What you say here holds for every event of the group that has no name of its own; what is the sleeper's or the room's own is left out of the results below at once.`),
      this.events.clip(typical),
      element("div", { class: "tools naming" }, ...namingFields(this.night, group, "group", "", changed),
        element("button", { type: "button", onclick: () => this.close(group) }, "Close")),
      element("p", {}, "Its events: ", ...group.events.flatMap((event) => [opener(event), " "])),
      element("div", { class: "results" }));
    this.events.update();
    this.box.querySelector("h3").focus();
  }

  close(group) {
    this.box.replaceChildren();
    this.box.hidden = true;
    this.rows.get(group.name).querySelector("button").focus();
  }

  // The table says at once what was said of its groups.
  mark() {
    for (const [name, row] of this.rows) {
      const group = this.night.groups.get(name);
      row.cells[1].textContent = group.label || "–";
      row.cells[2].textContent = WHOSE.find(([whose]) => whose === saidWhose(this.night, group))[1];
    }
  }
}
