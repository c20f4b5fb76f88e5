/* The readings in large figures: a card a channel. */
import { byId, make, put } from "../frame/dom.js";
import { isFresh, linkWords, nameWords } from "./words.js";

const MOST_LARGE = 3; // more channels have smaller cards, so that all are on one screen; by eye

function card(cards, number) {
  if (cards[number]) return cards[number];
  const node = make("section", "readout");
  const card = { node, name: make("h2"), value: make("output"), state: make("p", "state-now"), link: make("p", "link"), more: make("p", "soft") };
  card.value.id = "value-" + number;
  card.value.setAttribute("aria-live", "off"); // ten times a second would drown a screen reader
  node.append(card.name, card.value, card.state, card.link, card.more);
  byId("readouts").append(node);
  return (cards[number] = card);
}

/* Shows what the server told; a channel that is not measured any more loses its card. */
export function showReadings(live, colourOf) {
  if (live.channels.length) byId("readouts").querySelector(":scope > .skeleton")?.remove();
  const numbers = new Set(live.channels.map((one) => String(one.number)));
  for (const number of Object.keys(live.cards).filter((one) => !numbers.has(one))) {
    live.cards[number].node.remove();
    delete live.cards[number];
  }
  const many = live.channels.length > MOST_LARGE;
  byId("live").classList.toggle("many", many);
  live.channels.forEach((one, place) => {
    const { node, name, value, state, more } = card(live.cards, one.number);
    node.style.setProperty("--trace", colourOf(place));
    put(name, many ? one.label : nameWords(one));
    put(value, one.shown);
    state.className = "state-now " + one.now.sort;
    put(state, live.ended || one.now.since === "reading" || live.channels.length < 2 ? "" : one.now.word); // alone, the band says it
    put(more, "lowest " + one.low + " · highest " + one.high + " · " + one.count + " readings");
  });
}

/* How old they are by now; `state` has heardS, ended and lost. */
export function showAges(live, state) {
  for (const one of live.channels) {
    const card = live.cards[one.number];
    if (!card) continue;
    card.node.classList.toggle("old", !state.ended && (state.lost || !isFresh(one, state.heardS)));
    put(card.link, linkWords(one, state.heardS, state));
  }
}
