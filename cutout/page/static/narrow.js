// A number that the board and what is drawn over it agree on.

/** Below this width of the board (pixels) it is a phone's. */
export const NARROW = 600;
