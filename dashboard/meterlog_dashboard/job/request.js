/* What a press on a button of a job asks of the server. Pure. */

const SENT = ["key", "answer", "part", "value", "meter"]; // what a button itself says
const FIELDS = { // of what says more than one thing
  repaired: { price: "job-price", minutes: "job-minutes", note: "job-note" },
  wait: { reason: "job-waits", until: "job-until" },
};

/* The fields that go with a button, by the key under which they are sent. */
export function fieldsOf(said) {
  if (FIELDS[said.do]) return FIELDS[said.do];
  return said.field ? { [said.as || "value"]: said.field } : {};
}

/* The body: `said` is the button's dataset, `read` gives the text of a field, `shown` is the version on the page. */
export function bodyOf(said, read, shown, cautions) {
  const body = { version: shown };
  for (const key of SENT) if (said[key] !== undefined) body[key] = said[key];
  for (const [key, field] of Object.entries(fieldsOf(said))) body[key] = read(field);
  if (said.do === "measure") body.cautions = cautions;
  return body;
}
