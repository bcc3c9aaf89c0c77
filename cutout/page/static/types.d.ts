// What the server's answers hold, and what the parts of the page hand each other. Types only: nothing of this runs.
// Lengths are mm in the panel's frame, y up; areas are SVG path data in that frame; boxes are [x0, y0, x1, y1].

export interface Change {
  path: string;
  value: any;
}

/** Something that can be done at one touch. */
export interface Way {
  label: string;
  changes: Change[];
}

/** A job as the server has it; `job` is the job file's own shape, every setting filled in. */
export interface State {
  id: string;
  revision: number;
  can_undo: boolean;
  can_redo: boolean;
  title: string;
  job: any;
  shown: Record<string, string>;
  closed: Record<string, string>;
  labels: Record<string, string>;
  missing: string[];
}

export interface Zone {
  name: string;
  path: string;
  at?: number[];
  face?: string;
}

export interface Panel {
  width: number;
  height: number;
  thickness?: number;
  grain: number | null;
  label?: string;
  wood: string | null;
  zones: Zone[];
  drawn: Zone[];
  frame: { opening: number[]; reveal: number } | null;
}

export interface Figure {
  box: number[];
  at: number[];
  shown_at: string[];
  label: string;
  shown_size: string[];
  path: string;
}

export interface Opening {
  id: number;
  at: number[];
  at_edge: boolean;
}

export interface Pattern {
  waste: string;
  openings: Opening[];
}

export interface BladeFacts {
  radius: Record<string, string>;
  kerf: Record<string, string>;
  radius_from: string;
  measured?: string;
}

/** The quick view: the job as laid out. */
export interface Look extends Pattern {
  panel: Panel;
  figures: Figure[];
  overlaps: number[][];
  arranged: boolean;
  blade: BladeFacts;
}

export interface Finding {
  number: number;
  kind: string;
  severity: "stop" | "care";
  at: number[];
  opening: number | null;
  text: string;
  remedy: string;
  cleared: boolean;
  ways: Way[];
}

export interface Bridge {
  id: number;
  at: number[];
  angle: number;
  width: number;
  label: string;
  place: string;
  by_hand: boolean;
  path: string;
}

export interface Ask {
  text: string;
  way: Way;
}

export interface Checked {
  stage: "checked";
  revision: number;
  look: Look;
  findings: Finding[];
  ask: Ask | null;
  notes: string[];
}

export interface Mended extends Pattern {
  stage: "mended" | "planned";
  revision: number;
  bridges: Bridge[];
  eased: string | null;
  findings: Finding[];
  lead: { text: string; way: Way | null } | null;
  notes?: string[];
}

export interface Hole {
  id: number;
  at: number[];
  diameter: number;
  label: string;
  roles: string[];
}

export interface Leg {
  order: number;
  opening: number;
  path: string;
}

export interface Step {
  letter: string;
  title: string;
  say: string;
  hold: string | null;
  at: number[];
  holes: number[];
  legs: number[];
  drops: string;
}

export interface Sheet {
  name: string;
  blank: boolean;
  path: string;
  at: number[];
}

export interface Planned extends Mended {
  stage: "planned";
  holes: Hole[];
  legs: Leg[];
  steps: Step[];
  sums: string;
  minutes: number;
  proved: boolean;
  template: { sheets: Sheet[]; text: string } | null;
  notes: string[];
  cautions: string[];
}

/** A line that something which moves has been put into. */
export interface Line {
  axis: "x" | "y";
  at: number;
  name: string;
}

/** Something that can be taken hold of on the panel. */
export interface Item {
  key: string;
  kind: "figure" | "bridge" | "hole";
  label: string;
  at: number[];
  index?: number;
  found?: boolean;
  box?: number[];
  path?: string;
  angle?: number;
  width?: number;
  diameter?: number;
  turn?: number;
}

/** What is being moved, how far (mm), turned (degrees) and scaled. */
export interface Move {
  item: Item;
  what: any;
  from: any;
  dx: number;
  dy: number;
  turn: number;
  scale: number;
  pointed: boolean;
  lines?: Line[];
}

/** All that the board draws. */
export interface Model extends Pattern {
  panel: Panel;
  show: string;
  keep: string;
  turned: boolean;
  before: string;
  numbered: boolean;
  bridges: { path: string; at: number[] }[];
  findings: Finding[];
  selected: Finding | null;
  marked: boolean;
  plan: Planned | null;
  sheets: Sheet[];
  walking: boolean;
  step: Step | null;
  done: Set<number>;
  fallen: string;
  hands: Item[];
}
