// @ts-check
/** Custom elements of the pages. Without this file every form still works; with it nothing said is lost. */

import { CircuitChoices } from "./choices.js";
import { CircuitDrawing } from "./drawing.js";
import { NumberPad, SheetEditor, UnitKeys, VisitDeck } from "./elements.js";
import { SheetFields } from "./fields.js";
import { LiveJob } from "./livejob.js";
import { keepHere } from "./offline.js";
import { sendOnlyWhenHeard } from "./heard.js";

customElements.define("visit-deck", VisitDeck);
customElements.define("number-pad", NumberPad);
customElements.define("unit-keys", UnitKeys);
customElements.define("circuit-drawing", CircuitDrawing);
customElements.define("circuit-choices", CircuitChoices);
customElements.define("sheet-editor", SheetEditor);
customElements.define("sheet-fields", SheetFields);
customElements.define("live-job", LiveJob);
sendOnlyWhenHeard();
keepHere();
