# All nine definitions of a sample quantile. Base R only, so that it runs without the other packages.
source("lib.R", local = FALSE)
probs <- c(0, .01, .05, .1, .25, 1/3, .5, 2/3, .75, .9, .95, .99, 1)
nine <- function(x) list(x = arr(x), probs = arr(probs),
  types = unname(lapply(1:9, function(t) arr(unname(quantile(x, probs, type = t))))))
case("quantiles", "Nine definitions of a quantile", "chickwts.csv, anorexia.csv", "R package datasets, MASS; typed in", "quantiles",
  "quantile(x, probs, type = 1..9)", list(textbook_median = nine(c(9, 2, 5, 3)), one = nine(7), two = nine(c(1, 2)),
  odd = nine(c(3, 1, 2, 8, 5)), ten = nine(1:10), feed_weights = nine(rd("chickwts.csv")$weight),
  prewt = nine(rd("anorexia.csv")$Prewt), ties = nine(c(1, 1, 1, 2, 2, 9, 9, 9, 9, 30, 31))), packages = character(0))
