/* Logs from the browser to the server: dropped anywhere or chosen, sent one by one by plain PUT with their progress.
   Dash has no answer for files of this size; all else of the panel is Dash's. */
(function () {
  "use strict";
  const SENDERS = 3;
  const state = { chosen: [], sending: 0 };
  const at = (id) => document.getElementById(id);
  const tick = () => window.dash_clientside.set_props("add-tick", { data: Date.now() });

  function say(text) {
    const place = at("add-said");
    if (place) place.textContent = text;
  }

  function open(focus) {
    const panel = at("add-panel");
    if (!panel) return;
    panel.hidden = false;
    at("add-open").setAttribute("aria-expanded", "true");
    tick();
    if (focus) at("add-choose").focus();
  }

  function close() {
    at("add-panel").hidden = true;
    at("add-open").setAttribute("aria-expanded", "false");
    at("add-open").focus();
  }

  function size(bytes) {
    return bytes >= 1e6 ? (bytes / 1e6).toFixed(1) + " MB" : Math.ceil(bytes / 1e3) + " kB";
  }

  function draw() {
    const list = at("add-chosen");
    list.textContent = "";
    for (const one of state.chosen) {
      const row = document.createElement("div");
      const name = document.createElement("span");
      name.textContent = one.file.name + ", " + size(one.file.size);
      row.append(name);
      if (one.bar) row.append(one.bar);
      list.append(row);
    }
    at("add-form").hidden = state.chosen.length === 0;
    at("add-together-row").hidden = state.chosen.length < 2;
  }

  function choose(files) {
    const fresh = Array.from(files).filter((file) => file.size > 0 && !file.name.startsWith("."));
    const empty = Array.from(files).length - fresh.length;
    state.chosen.push(...fresh.map((file) => ({ file, bar: null })));
    open(false);
    draw();
    say(empty ? (empty === 1 ? "One empty file was left out." : empty + " empty files were left out.") : "");
    if (fresh.length) at("add-send").focus();
  }

  function pick(folder) {
    const input = document.createElement("input");
    input.type = "file";
    input.multiple = true;
    if (folder) input.webkitdirectory = true;
    input.addEventListener("change", () => choose(input.files));
    input.click();
  }

  /* Everything under a dropped folder; plain files where the browser can't tell. */
  async function dropped(transfer) {
    const entries = Array.from(transfer.items || []).map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry());
    if (!entries.some((entry) => entry && entry.isDirectory)) return Array.from(transfer.files);
    const found = [];
    async function walk(entry) {
      if (entry.isFile) {
        found.push(await new Promise((done, fail) => entry.file(done, fail)));
        return;
      }
      const reader = entry.createReader();
      for (;;) {
        const some = await new Promise((done, fail) => reader.readEntries(done, fail));
        if (!some.length) return;
        for (const inner of some) await walk(inner);
      }
    }
    for (const entry of entries) if (entry) await walk(entry);
    return found;
  }

  function told() {
    const text = at("add-ambient").value.trim().replace(",", ".");
    const together = at("add-together").getAttribute("aria-checked") === "true" && state.chosen.length > 1;
    const timezone = at("add-zone").value.trim() || null;
    return { bike: at("add-bike").value || null, ambient_c: text === "" ? null : Number(text), together, timezone };
  }

  async function announce(group, said) {
    const answer = await fetch("/add", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ files: group.map((one) => ({ name: one.file.name, size: one.file.size })), ...said }),
    });
    const document_ = await answer.json().catch(() => ({}));
    if (!answer.ok) throw new Error(document_.reason || "The server did not take it (" + answer.status + ").");
    return document_.files;
  }

  function put(one, address) {
    return new Promise((done, fail) => {
      const request = new XMLHttpRequest();
      request.open("PUT", address);
      request.upload.addEventListener("progress", (event) => {
        if (event.lengthComputable) one.bar.value = event.loaded / event.total;
      });
      request.addEventListener("load", () => {
        if (request.status < 300) return done();
        let reason = "The server did not take it (" + request.status + ").";
        try { reason = JSON.parse(request.responseText).reason || reason; } catch (error) { /* keep the plain words */ }
        fail(new Error(reason));
      });
      request.addEventListener("error", () => fail(new Error("The connection broke off. Add the file again.")));
      request.send(one.file);
    });
  }

  async function send() {
    const said = told();
    if (said.ambient_c !== null && !Number.isFinite(said.ambient_c)) {
      say("The air temperature is no number. Correct it, or leave it empty.");
      at("add-ambient").focus();
      return;
    }
    const groups = said.together ? [state.chosen] : state.chosen.map((one) => [one]);
    for (const one of state.chosen) {
      one.bar = document.createElement("progress");
      one.bar.max = 1;
      one.bar.value = 0;
      one.bar.setAttribute("aria-label", one.file.name);
    }
    draw();
    at("add-send").disabled = true;
    state.sending += 1;
    const troubles = [];
    let next = 0;
    async function sender() {
      while (next < groups.length) {
        const group = groups[next++];
        try {
          const addresses = await announce(group, said);
          for (let i = 0; i < group.length; i++) await put(group[i], addresses[i]);
          state.chosen = state.chosen.filter((one) => !group.includes(one));
          draw();
          tick();
        } catch (error) {
          /* what could not be sent stays in the list, with what was typed */
          troubles.push(group.map((one) => one.file.name).join(" + ") + ": " + error.message);
        }
      }
    }
    await Promise.all(Array.from({ length: SENDERS }, sender));
    state.sending -= 1;
    at("add-send").disabled = false;
    /* what was said of these files is not said of the next */
    if (!state.chosen.length) at("add-together").setAttribute("aria-checked", "false");
    say(troubles.join(" "));
    tick();
  }

  function toggle(box) {
    box.setAttribute("aria-checked", box.getAttribute("aria-checked") === "true" ? "false" : "true");
  }

  document.addEventListener("click", (event) => {
    const on = (id) => event.target.closest && event.target.closest("#" + id);
    if (on("add-open")) return at("add-panel").hidden ? open(true) : close();
    if (on("add-close")) return close();
    if (on("add-choose")) return pick(false);
    if (on("add-folder")) return pick(true);
    if (on("add-send")) return send();
    if (on("add-clear")) { state.chosen = []; draw(); say(""); return undefined; }
    if (on("add-together-row")) return toggle(at("add-together"));
    /* a page behind the panel is not seen on a phone */
    if (event.target.closest && event.target.closest("#add-panel a[href]") && window.innerWidth < 900) {
      at("add-panel").hidden = true;
      at("add-open").setAttribute("aria-expanded", "false");
    }
    return undefined;
  });
  document.addEventListener("keydown", (event) => {
    if (event.target.id === "add-together" && (event.key === " " || event.key === "Enter")) {
      event.preventDefault();
      toggle(event.target);
    }
    if (event.key === "Escape" && at("add-panel") && !at("add-panel").hidden) close();
  });

  let inside = 0;
  const files = (event) => event.dataTransfer && Array.from(event.dataTransfer.types || []).includes("Files");
  document.addEventListener("dragenter", (event) => {
    if (!files(event)) return;
    inside += 1;
    document.body.classList.add("dropping");
  });
  document.addEventListener("dragleave", (event) => {
    if (!files(event)) return;
    inside -= 1;
    if (inside <= 0) document.body.classList.remove("dropping");
  });
  document.addEventListener("dragover", (event) => { if (files(event)) event.preventDefault(); });
  document.addEventListener("drop", async (event) => {
    if (!files(event)) return;
    event.preventDefault();
    inside = 0;
    document.body.classList.remove("dropping");
    choose(await dropped(event.dataTransfer));
  });
  window.addEventListener("beforeunload", (event) => { if (state.sending) event.preventDefault(); });
})();
