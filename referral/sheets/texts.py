"""Sentences that stand on every sheet: aftercare, danger signs, cautions, scale states."""

AFTERCARE = (
    "Look at all four feet and feel for heat every day; pick the feet out.",
    "Keep to the rest, turnout and surface that were agreed.",
    "Use overreach boots while a shoe is fitted long or wide: such shoes are pulled more easily.",
    "Do not move the next date without asking both the vet and the farrier.",
)
DANGER_SIGNS = (
    "The horse will not bear weight on the foot, or is suddenly much lamer.",
    "A shoe, bar or plate is lost, twisted or trodden into the sole.",
    "Blood, pus, a strong smell, or swelling up the limb; fever or no appetite.",
    "The sole bulges, or a groove appears at the coronary band.",
    "A nail or other object in the foot: leave it in place if you can, protect it, ring the vet.",
)
CAUTIONS = (
    "This sheet supports decisions. It makes no diagnosis, chooses no shoe and approves nothing.",
    "Diagnosis, sedation, nerve blocks and the reading of films are for a registered vet.",
    "Shoeing is for a registered farrier where the law asks for one. Local law comes first.",
    "Predicted readings come from geometry; the horse may respond otherwise.",
)
SCALE_SAYS = {
    "marker": "Scale from a marker of known length on this film; lengths may be judged.",
    "corrected": "Scale corrected by the maker of the machine; lengths may be judged.",
    "estimated": "Scale only estimated from distances; lengths are shown and not judged.",
    "none": "No scale; angles and ratios only.",
}
HOW_SAYS = {"on this page": "on the case’s own page"}
