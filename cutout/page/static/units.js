// The one number between the page's two systems of units.

/** Millimetres to the inch, exactly. */
export const INCH = 25.4;
