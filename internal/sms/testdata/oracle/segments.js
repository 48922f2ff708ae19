// Writes one JSON document: texts and what sms-segments-calculator says of them.
// Texts are given as runs [text, times] so that long ones stay readable.
const { SegmentedMessage } = require("sms-segments-calculator");
const GraphemeSplitter = require("grapheme-splitter");
const version = require("sms-segments-calculator/package.json").version;

const DOG = "\u{1F436}", ZHE = "\u0436";

// The edges: one message, two, three; escape and surrogate pairs at the seams.
const edges = [
  [["a", 160]], [["a", 161]], [["a", 306]], [["a", 307]], [["a", 459]], [["a", 460]],
  [["\u20ac", 80]], [["\u20ac", 81]], [["a", 159], ["\u20ac", 1]],
  [["a", 152], ["{", 1], ["a", 152]], [["a", 153], ["{", 1], ["a", 151]],
  [["a", 152], ["{", 1], ["a", 151], ["}", 1], ["a", 151]],
  [["\u20ac", 153]], [["\u20ac", 76], ["a", 1], ["\u20ac", 76]],
  [[ZHE, 70]], [[ZHE, 71]], [[ZHE, 134]], [[ZHE, 135]], [[ZHE, 201]], [[ZHE, 202]],
  [[DOG, 35]], [[DOG, 36]], [[ZHE, 66], [DOG, 1], [ZHE, 66]], [[ZHE, 67], [DOG, 1], [ZHE, 65]],
  [[DOG, 66]], [[DOG, 67]], [["a", 69], ["\u00e7", 1]], [["a", 70], ["\u00e7", 1]],
  [["{", 69], [ZHE, 1]], [["{", 70], [ZHE, 1]],
  [["It\u2019s", 1]], [["`", 1]], [["\t", 1]], [["\u00e7", 1]], [["\u00c7", 1]], [["", 1]],
  [["line\r\nline\n", 3]], [["\f", 80]], [["\f", 81]], [["39\u00b0C", 1]],
  [["\u00a0", 1]], [["\u00e1\u00ed\u00f3\u00fa", 1]], [["\u001b", 1]], [["\u0000", 1]],
];

// Texts whose characters are joined into clusters (families, keycaps, accents
// written apart): the calculator never splits a cluster, which the standard
// does not ask for, so its count may be higher than ours.
const clusters = [
  [["a", 66], ["\u{1F468}\u200D\u{1F469}\u200D\u{1F467}", 1], ["b", 60]],
  [["3\uFE0F\u20E3", 30]], [["e\u0301", 40]], [["\u{1F1EC}\u{1F1E7}", 20]],
];

const sentences = [
  "How was Bramble on the usual walk this week? 0 never limps, 1 a few steps, 2 some of each walk, 3 most steps, 4 won't use the leg. X if it doesn't apply.",
  "Thank you, Ruth. Bramble about as usual. Dr Lee sees this on Tuesday.",
  "It\u2019s \u201cok\u201d \u2013 fine\u2026", "He is 31.5 kg today [home scales] ~ 69 lb | ok?",
  "C\u00f3mo est\u00e1 Zo\u00eb?", "\u00bfQu\u00e9 tal? \u00a1Muy bien, se\u00f1or!", "\u00dcber 39 \u00b0C, na\u00fcrlich",
];

// mulberry32: a small public-domain generator with a fixed seed.
let state = 20260301;
function random(n) {
  state = (state + 0x6d2b79f5) | 0;
  let t = Math.imul(state ^ (state >>> 15), 1 | state);
  t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
  return ((t ^ (t >>> 14)) >>> 0) % n;
}
const pools = [
  [..."abcdefghijklmnopqrstuvwxyz ABC,.?!'\n"],
  [..."abcdefghij ^{}\\[~]|\u20ac"],
  [..."\u0394\u03a6\u0393\u039b\u03a9\u03a0\u03a8\u03a3\u0398\u039e@\u00a3$\u00a5\u00e8\u00e9\u00f9\u00ec\u00f2\u00c7\u00d8\u00f8\u00c5\u00e5 abc{}"],
  [..."abc \u0436\u0434\u5b57\u20ac{}"],
  [..."ab\u0436" + DOG + "\u{1F43E}\u{1F600}"],
];
function randomRuns() {
  const pool = pools[random(pools.length)];
  const near = [70, 134, 153, 160, 201, 306, 459][random(7)];
  const length = random(3) === 0 ? random(500) : Math.max(0, near - 8 + random(16));
  let text = "";
  for (let i = 0; i < length; i++) text += pool[random(pool.length)];
  return [[text, 1]];
}

function row(runs) {
  const text = runs.map(([t, n]) => t.repeat(n)).join("");
  const m = new SegmentedMessage(text);
  const units = m.encodedChars.reduce((n, c) => n + c.codeUnits.length, 0);
  const joined = new GraphemeSplitter().splitGraphemes(text)
    .some((g) => g !== "\r\n" && [...g].length > 1);
  return { runs, encoding: m.encodingName, units, segments: m.segmentsCount, clusters: joined };
}

const all = [...edges, ...clusters, ...sentences.map((s) => [[s, 1]])];
while (all.length < 300) all.push(randomRuns());
const lines = all.map((r) => "  " + JSON.stringify(row(r)));
console.log(`{
 "source": "npm package sms-segments-calculator ${version} (TwilioDevEd, MIT licence); 3GPP TS 23.038, TS 23.040",
 "made_by": "internal/sms/testdata/oracle/segments.js",
 "note": "A text is its runs, each repeated so many times. clusters marks texts with characters joined of several code points, which the package keeps together at a seam.",
 "rows": [
${lines.join(",\n")}
 ]
}`);
