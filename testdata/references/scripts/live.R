# Live witness: results for freshly drawn data, to hold ours against (stats/witness).
# usage: Rscript live.R FOLDER      (run in this folder)
# FOLDER has rows.csv (set, entry, exit, cause, group, stratum, cluster, weight) and sets.csv (one row
# a set: what its rows are and at which times they are asked about); live.json is written there.
# Needs: survival, cmprsk. A result that the packages do not give is null.
source("lib.R")
dir <- commandArgs(TRUE)[1]
rows <- read.csv(file.path(dir, "rows.csv")); sets <- read.csv(file.path(dir, "sets.csv"))
quietly <- function(e) suppressWarnings(tryCatch(e, error = function(x) NULL))

outcome <- function(d, s, event) if (s$delayed == 1) Surv(d$entry, d$exit, event) else Surv(d$exit, event)

# quantile() searches the limits as if they only fell. With delayed entry they can rise, and what it finds
# is then not the first crossing; such limits are not compared.
falling <- function(x) all(diff(x[!is.na(x)]) <= 0)
# product-limit of cause 1, the others censored: Greenwood's variance and five interval forms
curve <- function(d, s, h) {
  y <- outcome(d, s, d$cause == 1)
  at <- function(type) { z <- summary(survfit(y ~ 1, conf.type = type), times = h, extend = TRUE)
    list(survival = arr(z$surv), se = arr(z$std.err), lower = arr(z$lower), upper = arr(z$upper)) }
  f <- survfit(y ~ 1, conf.type = "log-log"); q <- quantile(f, c(.25, .5, .75))
  z <- summary(f, times = h, extend = TRUE)
  mean <- if (s$delayed == 0 && s$tau > min(f$time)) { m <- summary(f, rmean = s$tau)$table; arr(unname(m[grep("rmean", names(m))])) } else NULL
  list(plain = at("plain"), log = at("log"), loglog = at("log-log"), logit = at("logit"), arcsine = at("arcsin"),
    quantile = arr(unname(q$quantile)), quantile_lower = arr(if (falling(f$lower)) unname(q$lower) else rep(NA, 3)), quantile_upper = arr(if (falling(f$upper)) unname(q$upper) else rep(NA, 3)),
    mean = mean, hazard = arr(z$cumhaz), hazard_se = arr(z$std.chaz))
}
# the same with weights, and the infinitesimal jackknife over clusters
robust <- function(d, s, h) {
  y <- outcome(d, s, d$cause == 1); w <- d$weight; cl <- d$cluster; id <- seq_len(nrow(d))
  z <- summary(survfit(y ~ 1, weights = w, cluster = cl, id = id, robust = TRUE), times = h, extend = TRUE)
  list(survival = arr(z$surv), se = arr(z$std.err))
}
# cumulative incidence of every cause: jackknife over clusters, and Aalen's variance. survfit 3.5
# takes a cluster for several states and does not use it, so what each row adds is summed here.
incidence <- function(d, s, h) {
  y <- outcome(d, s, factor(d$cause, 0:s$causes)); w <- d$weight; id <- seq_len(nrow(d))
  f <- survfit(y ~ 1, weights = w, id = id, influence = TRUE); z <- summary(f, times = h, extend = TRUE)
  k <- match(as.character(seq_len(s$causes)), z$states)
  u <- f$influence.pstate; at <- findInterval(h, f$time) + dim(u)[2] - length(f$time)
  se <- function(i, j) if (i < 1) 0 else sqrt(sum(rowsum(w * u[, i, j], d$cluster)^2))
  r <- list(jackknife = lapply(k, function(j) list(incidence = arr(z$pstate[, j]), se = arr(sapply(at, se, j)))))
  if (s$delayed == 0 && s$weighted == 0) { q <- cuminc(d$exit, d$cause); p <- timepoints(q, sort(unique(h))); at <- match(h, sort(unique(h)))
    r$aalen <- lapply(seq_len(s$causes), function(j) { i <- match(paste(1, j), rownames(p$est))
      if (is.na(i)) NULL else list(incidence = arr(p$est[i, at]), variance = arr(p$var[i, at])) }) }
  r
}
# cuminc spreads the events of a time over the groups and corrects the variance for ties by
# 1-(d-1)/(n-1) with n scaled to the group; where n falls below d the factor is negative and so is the
# piece of variance. Ours takes it for 0, so such sets are not compared.
negative_variance <- function(d) any(sapply(split(d, d$stratum), function(e) {
  t <- sort(unique(e$exit)); g <- unique(e$group); m <- function(x) matrix(x, length(t))
  n <- m(sapply(g, function(k) sapply(t, function(u) sum(e$group == k & e$exit >= u))))
  before <- m(sapply(g, function(k) { f <- survfit(Surv(exit, cause > 0) ~ 1, e[e$group == k, ]); c(1, f$surv)[findInterval(t, f$time, left.open = TRUE) + 1] }))
  d1 <- sapply(t, function(u) sum(e$exit == u & e$cause == 1)); total <- rowSums(ifelse(n > 0, n / before, 0))
  any(d1 > 1 & n > 0 & total * before < d1) }))
# tests over the whole of follow-up
compare <- function(d, s) {
  g <- factor(d$group); st <- d$stratum; w <- d$weight; cl <- d$cluster; y <- outcome(d, s, d$cause == 1); r <- list()
  if (s$weighted == 0 && s$delayed == 0) {
    r$logrank <- quietly(survdiff(y ~ g + strata(st))$chisq)
    r$early <- quietly(survdiff(y ~ g + strata(st), rho = 1)$chisq)
    gray <- function(rho) { x <- quietly(unname(cuminc(d$exit, d$cause, d$group, strata = st, rho = rho)$Tests["1", 1])); if (!is.null(x) && x >= 0) x } # -1: its solver found no inverse
    if (!negative_variance(d)) { r$gray <- gray(0); r$gray_early <- gray(1) }
  }
  # the score test of the exact (conditional logistic) likelihood is the log-rank test with the
  # hypergeometric variance, and knows delayed entry
  if (s$weighted == 0 && s$delayed == 1 && s$ties == 0) r$logrank_exact <- quietly(as.vector(coxph(y ~ g + strata(st), ties = "exact")$score))
  r$clustered <- quietly(as.vector(coxph(y ~ g + strata(st), weights = w, cluster = cl, ties = "breslow")$rscore))
  r
}
# events and time at risk, whole and by stretch of follow-up
rates <- function(d, s) {
  x <- sum(d$cause == 1); e <- sum(d$exit - d$entry)
  r <- list(events = x, exposure = e)
  if (e > 0) { p <- poisson.test(x, e); r$exact <- arr(p$conf.int)
    mid <- function(up) uniroot(function(m) (if (up) ppois(x - 1, m) else ppois(x, m, FALSE)) + .5 * dpois(x, m) - .025, c(if (up) max(x, 1e-9) else 0, if (up) x + 20 + 6 * sqrt(x + 1) else x + 1), tol = 1e-14)$root / e
    r$midp <- arr(c(if (x == 0) 0 else mid(FALSE), mid(TRUE))) }
  cut <- c(0, s$cut1, s$cut2, 1e6); moved <- d$exit > 0
  if (any(moved)) { m <- d[moved, ]; from <- tcut(m$entry, cut, labels = c("a", "b", "c"))
    z <- pyears(Surv(m$exit - m$entry, m$cause == 1) ~ from, scale = 1)
    r$stretch_time <- arr(as.vector(z$pyears)); r$stretch_events <- arr(as.vector(z$event)) }
  r
}
# two groups that share clusters: the covariance of survival, of the incidence of cause 1 and of the mean time to tau,
# from what each row adds to the estimate of its own group, summed by cluster
joint <- function(d, s, h) {
  moved <- function(k, several) { e <- d[d$group == k, ]; y <- outcome(e, s, if (several) factor(e$cause, 0:s$causes) else e$cause == 1)
    f <- survfit(y ~ 1, weights = e$weight, id = seq_len(nrow(e)), influence = TRUE)
    u <- if (several) f$influence.pstate[, , 2] else f$influence.surv
    if (is.null(dim(u))) u <- matrix(u, nrow(e))
    skip <- dim(u)[2] - length(f$time); at <- findInterval(h, f$time) + skip
    w <- if (several) e$weight else 1 # influence.surv has the weights in it, influence.pstate has not
    rowsum(w * sapply(at, function(i) if (i < 1) rep(0, nrow(e)) else u[, i]), e$cluster) }
  both <- function(several) { a <- moved(0, several); b <- moved(1, several); k <- intersect(rownames(a), rownames(b)); colSums(a[k, , drop = FALSE] * b[k, , drop = FALSE]) }
  list(survival = arr(unname(both(FALSE))), incidence = if (s$causes > 1) arr(unname(both(TRUE))))
}
# rates as a regression with a constant hazard: its variance over clusters, over that over rows, is the design effect
effects <- function(d, s) {
  if (s$delayed == 1) return(NULL)
  precise <- survreg.control(rel.tolerance = 1e-13, maxiter = 200); row <- seq_len(nrow(d))
  e <- d[d$group == 0 & d$exit > 0, ]; two <- d[d$group < 2 & d$exit > 0, ]
  over <- function(f, e, j) f(e$cluster)$var[j, j] / f(seq_len(nrow(e)))$var[j, j]
  r <- list()
  if (sum(e$cause == 1) > 0 && length(unique(e$cluster)) > 1) r$rate <- over(function(cl) survreg(Surv(exit, cause == 1) ~ 1, e, dist = "exponential", cluster = cl, robust = TRUE, control = precise), e, 1)
  events <- table(factor(two$group[two$cause == 1], 0:1)); wide <- sapply(split(two$cluster, factor(two$group, 0:1)), function(x) length(unique(x)))
  if (all(events > 0) && all(wide > 1)) r$ratio <- over(function(cl) survreg(Surv(exit, cause == 1) ~ factor(group), two, dist = "exponential", cluster = cl, robust = TRUE, control = precise), two, 2)
  r
}
ratio <- function(d) { x <- sapply(0:1, function(k) sum(d$cause[d$group == k] == 1)); e <- sapply(0:1, function(k) sum((d$exit - d$entry)[d$group == k]))
  if (any(e == 0) || sum(x) == 0) NULL else { p <- poisson.test(x, e); list(ratio = unname(p$estimate), limits = arr(p$conf.int), p_lower = poisson.test(x, e, alternative = "less")$p.value, p_upper = poisson.test(x, e, alternative = "greater")$p.value) } }

one <- function(i) {
  s <- sets[i, ]; d <- rows[rows$set == s$set, ]; h <- unlist(s[paste0("at", 1:4)], use.names = FALSE)
  groups <- lapply(seq_len(s$groups) - 1, function(k) { e <- d[d$group == k, ]
    if (nrow(e) == 0) NULL else list(curve = if (s$weighted == 0) quietly(curve(e, s, h)), robust = quietly(robust(e, s, h)), incidence = quietly(incidence(e, s, h)), rates = quietly(rates(e, s))) })
  list(set = s$set, groups = groups, tests = if (s$groups > 1) compare(d, s), joint = if (s$groups > 1) quietly(joint(d, s, h)), effects = quietly(effects(d, s)), ratio = if (s$groups > 1) quietly(ratio(d)))
}
out <- lapply(seq_len(nrow(sets)), one)
writeLines(js(list(software = c(list(R = paste(R.version$major, R.version$minor, sep = ".")), pkgv(c("survival", "cmprsk"))), sets = out)), file.path(dir, "live.json"))
