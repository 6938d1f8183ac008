#!/usr/bin/env Rscript
# Fits models to the freshly drawn sets of stats/witness and writes every number as set,what,place,value.
# usage: Rscript live_models.R FOLDER     reads models.csv and models_sets.csv there, writes models_out.csv
suppressPackageStartupMessages({ library(survival); library(cmprsk) })
dir <- commandArgs(TRUE)[1]
rows <- read.csv(file.path(dir, "models.csv")); sets <- read.csv(file.path(dir, "models_sets.csv"))
out <- file(file.path(dir, "models_out.csv"), "w")
put <- function(set, what, values) for (i in seq_along(values))
  if (is.finite(values[i])) cat(set, ",", what, ",", i - 1, ",", format(values[i], digits = 17), "\n", sep = "", file = out)
quietly <- function(f) tryCatch(suppressWarnings(f()), error = function(e) NULL)
how <- coxph.control(eps = 1e-13, iter.max = 60, timefix = FALSE)
cox <- function(s, d, name, ties, cluster = FALSE, weighted = FALSE) quietly(function() {
  formula <- if (s$delayed) Surv(entry, exit, cause == 1) ~ x1 + x2 + x3 else Surv(exit, cause == 1) ~ x1 + x2 + x3
  if (s$strata > 1) formula <- update(formula, . ~ . + strata(stratum))
  d$.w <- if (weighted) d$weight else 1
  f <- if (cluster) coxph(formula, d, weights = .w, cluster = cluster, ties = ties, control = how, x = TRUE, model = TRUE)
       else coxph(formula, d, weights = .w, robust = FALSE, ties = ties, control = how, x = TRUE, model = TRUE)
  if (any(is.na(coef(f)))) return(NULL)
  put(s$set, paste0(name, ".coef"), coef(f)); put(s$set, paste0(name, ".loglik"), f$loglik)
  put(s$set, paste0(name, ".model"), sqrt(diag(if (cluster) f$naive.var else f$var)))
  put(s$set, paste0(name, ".score"), f$score)
  if (cluster) { put(s$set, paste0(name, ".robust"), sqrt(diag(f$var))); put(s$set, paste0(name, ".robust-score"), f$rscore) }
  if (ties != "exact") {
    z <- cox.zph(f, transform = "km", terms = FALSE); put(s$set, paste0(name, ".zph"), z$table[, "chisq"])
    # Its own predictor is a matrix product, which can give two equal rows two numbers and so break their tie.
    b <- coef(f); d$eta <- d$x1 * b[1] + d$x2 * b[2] + d$x3 * b[3]
    c <- concordance(update(formula, . ~ . - x1 - x2 - x3 + eta), d, weights = .w, reverse = TRUE, keepstrata = FALSE, timefix = FALSE); put(s$set, paste0(name, ".concordance"), c(c$concordance))
    if (!cluster) put(s$set, paste0(name, ".concordance-se"), sqrt(c$var))
    if (s$strata == 1) {
      p <- survfit(f, newdata = data.frame(x1 = 0.3, x2 = 1, x3 = -0.2), conf.type = "none", se.fit = TRUE)
      if (!cluster) { q <- summary(p, times = s$at, extend = TRUE); put(s$set, paste0(name, ".predicted"), c(q$surv, q$std.err)) }
    }
  }
})
byclusters <- function(f, d, w) { # Liang and Zeger, without a small-sample factor
  x <- model.matrix(f); u <- x * (w * (f$y - fitted(f))); b <- summary(f)$cov.unscaled
  m <- crossprod(rowsum(u, d$cluster)); sqrt(diag(b %*% m %*% b)) }
for (i in seq_len(nrow(sets))) {
  s <- sets[i, ]; d <- rows[rows$set == s$set, ]
  cox(s, d, "efron", "efron"); cox(s, d, "breslow", "breslow")
  cox(s, d, "efron-clustered", "efron", cluster = TRUE); cox(s, d, "breslow-clustered", "breslow", cluster = TRUE)
  cox(s, d, "efron-weighted", "efron", cluster = TRUE, weighted = TRUE)
  cox(s, d, "breslow-weighted", "breslow", cluster = TRUE, weighted = TRUE)
  if (!s$heavy) cox(s, d, "exact", "exact")
  if (!s$delayed && any(d$cause == 1)) quietly(function() {
    f <- crr(d$exit, d$cause, as.matrix(d[, c("x1", "x2", "x3")]), gtol = 1e-11, maxiter = 60)
    if (!f$converged) return(NULL)
    put(s$set, "crr.coef", f$coef); put(s$set, "crr.se", sqrt(diag(f$var))); put(s$set, "crr.loglik", f$loglik)
    p <- predict(f, c(0.3, 1, -0.2)); at <- findInterval(s$at, p[, 1])
    if (s$at <= max(d$exit)) put(s$set, "crr.predicted", if (at == 0) 0 else p[at, 2])
  })
  for (k in c("logistic", "poisson")) for (weighted in c(FALSE, TRUE)) quietly(function() {
    d$.w <- if (weighted) d$weight else 1
    d$y <- if (k == "logistic") d$yes else d$count
    family <- if (k == "logistic") binomial() else poisson()
    f <- glm(y ~ x1 + x2 + x3 + offset(off), family, d, weights = .w, epsilon = 1e-14, maxit = 60)
    name <- paste0(k, if (weighted) "-weighted" else "")
    if (!f$converged || any(is.na(coef(f)))) return(NULL)
    at <- c(2:4, 1)
    put(s$set, paste0(name, ".coef"), coef(f)[at]); put(s$set, paste0(name, ".model"), sqrt(diag(summary(f)$cov.unscaled))[at])
    put(s$set, paste0(name, ".robust"), byclusters(f, d, d$.w)[at])
    if (!weighted) put(s$set, paste0(name, ".loglik"), as.numeric(logLik(f)))
  })
}
close(out)
cat("R", paste(R.version$major, R.version$minor, sep = "."), "survival", as.character(packageVersion("survival")), "cmprsk", as.character(packageVersion("cmprsk")), "\n")
