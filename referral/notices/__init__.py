"""Who is told what of a case, and when a mail may say so."""
