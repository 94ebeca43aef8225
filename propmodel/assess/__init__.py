"""One build judged: intermediate answers, headline answers, margins, limits."""
