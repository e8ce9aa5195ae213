// @ts-check
/** Custom elements of the pages. Without this file every form still works; with it nothing said is lost. */

import { CircuitDrawing } from "./drawing.js";
import { NumberPad, SheetEditor, VisitDeck } from "./elements.js";
import { LiveJob } from "./livejob.js";
import { keepHere } from "./offline.js";

customElements.define("visit-deck", VisitDeck);
customElements.define("number-pad", NumberPad);
customElements.define("circuit-drawing", CircuitDrawing);
customElements.define("sheet-editor", SheetEditor);
customElements.define("live-job", LiveJob);
keepHere();
