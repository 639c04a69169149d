//! Words of the columns of sheets.

/// Words of column names, in several languages, the most telling first.
pub(super) const ID: &[&str] = &[
    "part no",
    "part number",
    "part num",
    "part nr",
    "part id",
    "p/n",
    "pn",
    "partno",
    "part #",
    "part code",
    "teilenummer",
    "teile-nr",
    "sachnummer",
    "artikelnummer",
    "item no",
    "item number",
    "drawing no",
    "zeichnungsnummer",
    "référence",
    "reference",
    "réf",
    "item nr",
    "item id",
];
/// Words of columns that hold part numbers if their texts are codes, each once.
pub(super) const MAYBE_ID: &[&str] =
    &["part", "item", "component", "teil", "artikel", "pièce", "article", "code", "id"];
/// Words of columns that hold part numbers if no other column does: they can count the rows.
pub(super) const LAST_ID: &[&str] = &["nummer", "number", "no", "nr", "id", "code"];
pub(super) const TITLE: &[&str] = &[
    "description",
    "title",
    "part name",
    "bezeichnung",
    "benennung",
    "désignation",
    "designation",
    "libellé",
    "name",
    "part",
    "teil",
    "item",
    "component",
];
pub(super) const SYSTEM: &[&str] = &[
    "section",
    "system",
    "subsystem",
    "assembly",
    "baugruppe",
    "group",
    "gruppe",
    "ensemble",
    "sous-ensemble",
    "groupe",
    "department",
    "area",
];
pub(super) const COUNT: &[&str] = &[
    "qty",
    "quantity",
    "count",
    "anzahl",
    "menge",
    "stückzahl",
    "stück",
    "stk",
    "quantité",
    "qté",
    "nombre",
    "pieces",
    "pcs",
];
pub(super) const MASS: &[&str] = &["mass", "weight", "masse", "gewicht", "poids"];
pub(super) const COST: &[&str] = &["cost", "price", "preis", "kosten", "stückpreis", "prix", "coût"];
pub(super) const LEAD: &[&str] = &["lead", "responsible", "owner", "verantwortlich", "zuständig", "responsable"];
pub(super) const SAFETY: &[&str] = &["safety_critical", "safety-critical", "safety critical", "sicherheitskritisch"];
/// Words and signs of columns that hold the uncertainty of another one.
pub(super) const UNCERTAINTY: &[&str] = &["±", "+/-", "uncertainty", "unsicherheit", "incertitude"];
pub(super) const BASIS: &[&str] = &["basis", "state", "status", "source", "stand", "état", "maturity"];
/// Words of columns that hold a sum over the pieces.
pub(super) const SUMS: &[&str] = &["total", "sum", "gesamt", "summe", "somme"];

/// Words for bases that have other names in the settings.
pub(super) const BASES: [(&str, &[&str]); 6] = [
    ("estimated", &["estimate", "est", "guess", "geschätzt", "schätzung", "estimé"]),
    ("calculated", &["calc", "calculation", "berechnet", "calculé"]),
    ("drawn", &["cad", "drawing", "gezeichnet", "konstruiert", "dessiné"]),
    ("weighed", &["scale", "scales", "measured", "gewogen", "waage", "pesé"]),
    ("quoted", &["quote", "quotation", "offer", "angebot", "devis"]),
    ("paid", &["invoice", "bought", "ordered", "bezahlt", "rechnung", "payé"]),
];
