// What HTML cannot do: follow a hand while it moves, and put what came out in place without losing where one was.
"use strict";

const page = () => document.getElementById("page");
const waiting = [];        // requests that are still to be sent, in order
let busy = false;          // one is under way
let touched = null;        // the control that a hand is moving

document.documentElement.classList.add("scripted");
document.querySelectorAll("input[name=version]").forEach((field) => field.remove());   // `send` has it

// --- asking ---------------------------------------------------------------------------------------------------------

function ask(form, submitter, control, moving) {
  const last = waiting[waiting.length - 1];
  if (last && last.moving && last.form === form) waiting.pop();   // only the latest of a movement counts
  waiting.push({form, submitter, control, moving});
  send();
}

async function send() {
  if (busy || !waiting.length) return;
  busy = true;
  const {form, submitter, control, moving} = waiting.shift();
  try {
    const data = new URLSearchParams(new FormData(form, submitter));
    if (control?.dataset.hand) data.set("hand", control.dataset.hand);
    if (moving) {
      data.set("moving", control.dataset.sets);
      data.set("parts", page().dataset.parts ?? "");               // what is here already need not come again
    }
    if (form.method === "get") {
      await show(await from(`?${data}`));
    } else {
      data.set("version", page().dataset.version);
      await show(await from(location.href, {method: "POST", body: data}));
    }
  } catch (error) {
    say(`The page does not answer: ${error.message}. Is ratio-solver still running?`);
  }
  busy = false;
  send();
}

const from = (address, how) => fetch(address, {...how, headers: {"X-Scripted": "1"}});

async function look() {
  if (busy || waiting.length || document.hidden || !page().dataset.version) return;
  busy = true;
  try {
    const here = page().dataset;
    const state = await (await fetch(`${location.pathname}?state`)).json();
    if (String(state.version) !== here.version || state.disk !== Boolean(here.disk)
        || (here.solving && !state.solving)) await show(await from(location.href));
  } catch { /* asked again later, and said when something is done */ }
  busy = false;
  send();
}

function say(words) {
  const told = document.getElementById("told");
  if (told) told.textContent = words;
}

// --- showing --------------------------------------------------------------------------------------------------------

async function show(answer) {
  const found = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = found.getElementById("page"), was = document.activeElement;
  if (!fresh) throw new Error(`it said ${answer.status}`);
  if (fresh.dataset.parts) {                                       // while a hand moves
    const parts = [...fresh.children];
    if (!parts.every((part) => document.getElementById(part.id))) return show(await from(location.href));
    mark(page(), fresh);
    for (const part of parts) morph(document.getElementById(part.id), part);
    return;
  }
  morph(page(), fresh);
  document.title = found.title;
  const {path} = page().dataset;                                   // a draft that was saved has an address of its own
  if (path && path !== location.pathname) history.replaceState(null, "", path + location.search);
  if (was && was !== document.body && !was.isConnected) (document.getElementById("outcome") || page()).focus();
}

// Makes one element like another; what stays the same stays the same element, with its focus and its hand on it.
function morph(here, there) {
  if (here.isEqualNode(there) && asWritten(here)) return;
  mark(here, there);
  if (here !== touched && here.id !== touched?.dataset.sets && !(here === document.activeElement && TYPED.includes(here.type))) {
    if (here.type === "checkbox") here.checked = there.hasAttribute("checked");
    else if (here.tagName === "INPUT") here.value = there.getAttribute("value") ?? "";
    else if (here.tagName === "TEXTAREA") here.value = there.value;
  }
  let place = here.firstChild;
  for (const node of [...there.childNodes]) {
    let same = place;
    if (node.nodeType === Node.ELEMENT_NODE) while (same && !alike(same, node)) same = same.nextSibling;
    else if (same && same.nodeType !== node.nodeType) same = null;
    if (!same) {
      here.insertBefore(node, place);
      continue;
    }
    while (place !== same && held(same)) place = after(place, here);   // the hand stays where it is, the others move
    if (place !== same) here.insertBefore(same, place);
    if (same.nodeType === Node.ELEMENT_NODE) morph(same, node);
    else if (same.nodeValue !== node.nodeValue) same.nodeValue = node.nodeValue;
    if (place === same) place = same.nextSibling;
  }
  while (place) place = removed(place);
}

function mark(here, there) {
  for (const {name} of [...here.attributes]) {
    if (!there.hasAttribute(name) && !folded(here, name)) here.removeAttribute(name);
  }
  for (const {name, value} of [...there.attributes]) {
    if (here.getAttribute(name) !== value && !folded(here, name)) here.setAttribute(name, value);
  }
}

const held = (node) => node.contains(touched) || node.contains(document.activeElement);   // by a hand

const TYPED = ["text", "number", "textarea"];   // what is being typed is not taken away

const folded = (node, name) => name === "open" && node.tagName === "DETAILS";   // what a hand folded stays so

const asWritten = (node) => [node, ...node.querySelectorAll("input, textarea")]
  .every((one) => !one.matches("input, textarea") || (one.value === one.defaultValue && one.checked === one.defaultChecked));

const alike = (one, other) => one.nodeName === other.nodeName && one.id === other.id
  && (one.getAttribute("class") ?? "").split(" ")[0] === (other.getAttribute("class") ?? "").split(" ")[0];

function after(node, parent) {
  const next = node.nextSibling;
  parent.append(node);
  return next;
}

function removed(node) {
  const next = node.nextSibling;
  node.remove();
  return next;
}

// --- hands ----------------------------------------------------------------------------------------------------------

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!page().dataset.version || !(form.method === "post" || form.hasAttribute("data-ask"))) return;
  event.preventDefault();
  touched = null;
  ask(form, event.submitter, null, false);
});

document.addEventListener("focusout", () => { touched = null; });   // let go where it was taken: no change is told

document.addEventListener("input", (event) => {
  const {sets} = event.target.dataset;
  if (!sets) return;
  touched = event.target;
  document.getElementById(sets).value = event.target.value;
  ask(event.target.form, null, event.target, true);
});

document.addEventListener("change", (event) => {
  const {form} = event.target;
  if (!form || !form.hasAttribute("data-live")) return;
  touched = null;
  if (form.reportValidity()) ask(form, null, event.target, false);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-print]");
  if (!link) return;
  event.preventDefault();
  const card = window.open(link.href);
  if (card) card.addEventListener("load", () => card.document.getElementById("page") || card.print());   // no fault
  else say("The browser has opened no window for the card: let this page open windows, or open “Print the card” in a new tab.");
});

document.addEventListener("visibilitychange", look);
setInterval(look, 1500);
