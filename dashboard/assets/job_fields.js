/* The form of a job file: a field for each key, rows for limits and instruments, and what was changed in them. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.jobFields = (function () {
  const { element, setText, show, setClass } = lightoff.dom;
  const ODD = "written in a way that no field can show: change it in the text";
  let made = 0; // for names of inputs that are unique on the page

  const blank = (value) => value === undefined || value === null;

  function option(value, text, chosen) {
    return element("option", { value, selected: value === chosen }, text);
  }

  function select(field, value, attributes) {
    const truth = [["true", "yes"], ["false", "no"]];
    const options = field.kind === "truth" ? truth : field.options;
    const known = value === "" || options.some((one) => one[0] === value);
    return element("select", attributes, option("", "not said", value),
      ...options.map(([name, text]) => option(name, text, value)), known ? null : option(value, value, value));
  }

  function input(field, value, example, attributes) {
    if (field.kind === "choice" || field.kind === "truth") return select(field, value, attributes);
    if (field.kind === "table") {
      const area = element("textarea", { rows: 3, spellcheck: "false", placeholder: example, ...attributes });
      area.value = value;
      return area;
    }
    const box = element("input", { type: "text", autocomplete: "off", spellcheck: "false", placeholder: example, ...attributes });
    box.value = value;
    return box;
  }

  /* What stands in each input of a field: one, or one for each of a pair or of the stages, the last one last. */
  function shown(field, value) {
    if (field.kind === "table")
      return [blank(value) ? "" : typeof value === "object" ? Object.entries(value).map(([key, inner]) => key + " = " + inner).join("\n") : value];
    const listed = (Array.isArray(value) ? value : blank(value) ? [] : [value]).map(String);
    if (!field.inputs.length) return [listed.join(", ")];
    const missing = Math.max(0, field.inputs.length - listed.length);
    const empty = Array(missing).fill("");
    return field.kind === "stages" ? [...empty, ...listed] : [...listed, ...empty];
  }

  function table(text) {
    const lines = text.split("\n").filter((line) => line.trim());
    const pairs = lines.map((line) => [line.split("=")[0].trim(), line.split("=").slice(1).join("=").trim()]);
    return pairs.length ? Object.fromEntries(pairs) : null;
  }

  /* {node, read, changed, wrong, focus} of a key. */
  function make(field, value, writable) {
    made += 1;
    const name = "job-input-" + made;
    const wrong = element("p", { class: "job-wrong", id: name + "-wrong", hidden: true });
    const minded = element("p", { class: "job-minded", id: name + "-minded", hidden: true });
    const note = field.note ? element("p", { class: "facts", id: name + "-note" }, field.note) : null;
    const odd = value === null;
    const attributes = { "aria-describedby": (note ? name + "-note " : "") + name + "-wrong " + name + "-minded", disabled: odd || !writable };
    const examples = field.example.split("|");
    const values = odd ? shown(field, "") : shown(field, value);
    const inputs = values.map((one, index) =>
      input(field, one, examples[0] ? "e.g. " + (examples[index] || examples[0]) : "", { ...attributes, id: name + (index ? "-" + index : "") }));
    const labels = inputs.map((one, index) => element("label", { for: one.id },
      element("span", {}, field.inputs.length ? field.inputs[index] || "number " + (index + 1) : field.label), one));
    const inside = field.inputs.length
      ? element("fieldset", {}, element("legend", {}, field.label), ...labels) : labels[0];
    const node = element("div", { class: "job-field job-" + field.kind, "data-key": field.key }, inside,
      note, odd ? element("p", { class: "facts" }, ODD) : null, wrong, minded);

    function read() {
      if (field.kind === "table") return table(inputs[0].value);
      if (!field.inputs.length) return inputs[0].value.trim() ? inputs[0].value : null;
      const typed = inputs.map((one) => one.value).filter((one) => one.trim());
      return typed.length ? typed : null;
    }
    const before = JSON.stringify(read());

    return {
      node, read, label: field.label,
      changed: () => !odd && JSON.stringify(read()) !== before,
      minded: (text) => { setText(minded, text ? "! " + text : ""); show(minded, Boolean(text)); },
      wrong: (text) => {
        setText(wrong, text ? "✗ " + text : "");
        show(wrong, Boolean(text));
        setClass(node, "is-wrong", Boolean(text));
        for (const one of inputs) if (text) one.setAttribute("aria-invalid", "true"); else one.removeAttribute("aria-invalid");
      },
      focus: () => inputs[0].focus(),
    };
  }

  /* One [[limit]] or [[instrument]]: removed at first only set aside, so that it can be taken back. */
  function row(section, values, stored, writable, drawn) {
    const fields = {};
    for (const field of section.fields) {
      const key = field.key.split(".").pop();
      fields[key] = make(field, values[key], writable);
    }
    const one = { stored, removed: false, fields };
    const title = element("h4", { tabindex: "-1" });
    const wrong = element("p", { class: "job-wrong", hidden: true });
    const body = element("div", { class: "job-fields" }, ...Object.values(fields).map((field) => field.node));
    const remove = element("button", { type: "button", class: "job-remove", onclick: () => {
      one.removed = !one.removed;
      drawn();
      remove.focus();
    } });
    one.node = element("div", { class: "job-entry" },
      element("div", { class: "job-entry-head" }, title, writable ? remove : null), wrong, body);
    one.number = (number) => {
      const said = fields.name.read() || (fields.point && fields.point.read()) || "";
      setText(title, section.name + (number ? " " + number : "") + (said ? ": " + said : "") + (one.removed ? " — removed when saved" : ""));
      setText(remove, one.removed ? "take back" : "remove");
      show(body, !one.removed);
      setClass(one.node, "removed", one.removed);
    };
    one.wrong = (text) => { setText(wrong, text ? "✗ " + text : ""); show(wrong, Boolean(text)); };
    one.focus = () => title.focus();
    return one;
  }

  /* The whole form: {node, changes, wrong, lead}. */
  function form(sections, values, writable) {
    const plain = {}; // key -> field
    const many = {}; // section -> rows
    const folds = {}; // section -> details
    const spread = (section) => many[section.name].filter((one) => !one.removed);

    function part(section) {
      const own = values[section.name] || (section.many ? [] : {});
      const said = section.many ? own.length : Object.keys(own).length;
      const count = element("span", { class: "facts" });
      const body = element("div", { class: section.many ? "" : "job-fields" });
      const fold = element("details", { class: "job-section", "data-section": section.name, open: section.name === "furnace" },
        element("summary", {}, element("h3", {}, section.title), count),
        section.note ? element("p", { class: "facts" }, section.note) : null, body);
      folds[section.name] = fold;
      setText(count, said ? (section.many ? said : said + " of " + section.fields.length) : "nothing yet");
      if (!section.many) {
        for (const field of section.fields) {
          plain[field.key] = make(field, own[field.key.split(".").pop()], writable);
          body.append(plain[field.key].node);
        }
        return fold;
      }
      const rows = (many[section.name] = []);
      const drawn = () => { let number = 0; for (const one of rows) one.number(one.removed ? 0 : (number += 1)); };
      const add = (entry, stored) => {
        const one = row(section, entry, stored, writable, () => {
          if (one.removed && one.stored === null) { rows.splice(rows.indexOf(one), 1); one.node.remove(); more.focus(); }
          drawn();
        });
        rows.push(one);
        body.append(one.node);
        return one;
      };
      const more = element("button", { type: "button", class: "job-add", onclick: () => {
        const one = add({}, null);
        drawn();
        Object.values(one.fields)[0].focus();
      } }, "add " + (section.name === "instrument" ? "an instrument" : "a limit"));
      own.forEach((entry, index) => add(entry, index));
      drawn();
      if (writable) fold.append(more);
      return fold;
    }

    const node = element("div", { id: "job-form" }, ...sections.map(part));

    function rowChanges(section) {
      const found = [];
      const rows = many[section.name];
      for (const one of rows.filter((kept) => kept.stored !== null && !kept.removed))
        for (const [key, field] of Object.entries(one.fields))
          if (field.changed()) found.push({ path: [section.name, one.stored, key], value: field.read() });
      const removed = rows.filter((one) => one.removed).map((one) => one.stored).sort((a, b) => b - a);
      for (const index of removed) found.push({ path: [section.name, index], value: null });
      let next = rows.filter((one) => one.stored !== null && !one.removed).length;
      for (const one of rows.filter((fresh) => fresh.stored === null)) {
        const value = {};
        for (const [key, field] of Object.entries(one.fields)) if (field.read() !== null) value[key] = field.read();
        found.push({ path: [section.name, next], value });
        next += 1;
      }
      return found;
    }

    function changes() {
      const fields = Object.entries(plain).filter(([, field]) => field.changed())
        .map(([key, field]) => ({ path: key.split("."), value: field.read() }));
      return [...fields, ...sections.filter((section) => section.many).flatMap(rowChanges)];
    }

    /* What a key such as limit[2].above leads to: its field, else its row, else its section; nothing for the whole file. */
    function place(key) {
      for (let at = key; at; at = at.replace(/\.?[^.[]+$|\[\d+\]$/, "")) {
        if (plain[at]) return { one: plain[at], fold: folds[at.split(".").slice(0, -1).join(".")] };
        const entry = /^(\w+)\[(\d+)\](?:\.(\w+))?$/.exec(at);
        const section = entry && sections.find((found) => found.many && found.name === entry[1]);
        const found = section && spread(section)[Number(entry[2]) - 1];
        if (found) return { one: (entry[3] && found.fields[entry[3]]) || found, fold: folds[entry[1]] };
        if (folds[at]) return { one: null, fold: folds[at] };
      }
      return null;
    }

    function everything() {
      return [...Object.values(plain), ...Object.values(many).flat().flatMap((one) => [one, ...Object.values(one.fields)])];
    }

    /* What is told of each field or row; several sentences one after the other. */
    function placed(list) {
      const told = new Map();
      for (const mistake of list) {
        const found = place(mistake.key);
        if (!found) continue;
        found.fold.open = true;
        if (found.one) told.set(found.one, [told.get(found.one), mistake.text].filter(Boolean).join("; "));
      }
      return told;
    }

    /* Show each mistake, and what is to be minded, where it is. */
    function wrong(mistakes, cautions) {
      const bad = placed(mistakes);
      const mind = placed(cautions);
      for (const one of everything()) {
        one.wrong(bad.get(one) || "");
        if (one.minded) one.minded(mind.get(one) || "");
      }
    }

    function lead(key) {
      const found = place(key);
      if (!found) return false;
      found.fold.open = true;
      if (found.one) found.one.focus(); else found.fold.querySelector("summary").focus();
      return true;
    }

    /* A key in the words of the form, such as "limit 2, alarm above". */
    function said(key) {
      const found = place(key);
      const entry = /^(\w+)\[(\d+)\]/.exec(key);
      return found && [entry ? entry[1] + " " + entry[2] : "", (found.one && found.one.label) || ""].filter(Boolean).join(", ");
    }

    return { node, changes, wrong, lead, said };
  }

  return { form };
})();
