"""Practice that fades its help away, the stop drill, tones and the assessment; no Qt here."""
