// @ts-check

/** @typedef {{line?: number, message: string, nearest?: string | null, remedy?: string}} Problem */

/** A problem as one paragraph for a person: what is wrong, what was meant, what to do. @param {Problem} p @param {string} where words before the line's number */
export function told(p, where = "") {
  const remedy = p.remedy ? ` ${p.remedy.charAt(0).toUpperCase()}${p.remedy.slice(1)}` : "";
  const place = p.line && where ? `${where} ${p.line}: ` : "";
  return `${place}${p.message}.${p.nearest ? ` Did you mean ${p.nearest}?` : ""}${remedy}`;
}
