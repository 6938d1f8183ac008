#!/usr/bin/env Rscript
# Times the reference libraries on the files of generate_recovery.R, which are read before, and keeps what they say in theirs.csv (work,
# name, value) for the comparison. Prints "work cpu-seconds wall-seconds". usage: Rscript recovery.R FOLDER
suppressPackageStartupMessages({ library(nlme); library(pROC) })
folder <- commandArgs(TRUE)[1]; kept <- NULL
scores <- read.csv(file.path(folder, "scores.csv")); answers <- read.csv(file.path(folder, "answers.csv"))
time <- function(work, times, f) {
  gc(FALSE); s <- proc.time(); for (i in seq_len(times)) x <- f(); e <- (proc.time() - s) / times
  cat(work, sprintf("%.4f %.4f", e[["user.self"]] + e[["sys.self"]], e[["elapsed"]]), "\n"); flush(stdout()); x
}
keep <- function(work, values) kept <<- rbind(kept, data.frame(work, name = names(values), value = sprintf("%.17g", unname(values))))

# Repeated scores. There, an unstructured covariance is one matrix for each shoulder: the first 50,000 are what ends in a minute or two.
scores$at <- scores$visit + 1L; scores$v1 <- +(scores$visit == 1); scores$v2 <- +(scores$visit == 2)
scores$t1 <- scores$treated * scores$v1; scores$t2 <- scores$treated * scores$v2
rhs <- score ~ v1 + v2 + treated + t1 + t2 + x1 + x2 + x3 + x4 + x5 + x6 + x7 + x8
fixed <- function(b, v) { names(b)[1] <- "constant"; s <- sqrt(diag(v)); names(s) <- paste0("se ", names(b)); c(setNames(b, paste0("coefficient ", names(b))), s) }
few <- scores[scores$shoulder < 50000, ]
g <- time("unstructured-50000", 1, function() gls(rhs, few, correlation = corSymm(form = ~ at | shoulder), weights = varIdent(form = ~ 1 | at)))
r <- coef(g$modelStruct$corStruct, unconstrained = FALSE); s <- coef(g$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)[c("1", "2", "3")] * g$sigma
keep("unstructured-50000", c(fixed(coef(g), vcov(g)), setNames(c(s^2, r[1] * s[1] * s[2], r[2] * s[1] * s[3], r[3] * s[2] * s[3]), paste("covariance", c("00", "11", "22", "01", "02", "12")))))
# An intercept of each shoulder is compound symmetry, and quick enough there for the whole file.
m <- time("intercept", 1, function() lme(rhs, scores, random = ~ 1 | shoulder))
b <- as.numeric(VarCorr(m)[, "Variance"])
keep("intercept", c(fixed(fixef(m), vcov(m)), "covariance 00" = getVarCov(m)[1, 1] + m$sigma^2, "covariance 01" = getVarCov(m)[1, 1]))

# Curves, of the first 100,000 shoulders.
many <- head(answers, 100000); many$change <- many$after - many$before; many$improved <- as.integer(many$answer >= 1)
curve <- function(y, x) roc(y, x, levels = c(0, 1), direction = "<", quiet = TRUE)
a <- time("roc", 5, function() { r <- curve(many$improved, many$change); list(r, ci.auc(r, method = "delong")) })
keep("roc", c(area = as.numeric(auc(a[[1]])), se = sqrt(var(a[[1]], method = "delong")), lower = a[[2]][1], upper = a[[2]][3]))
test <- time("roc-two", 3, function() roc.test(curve(many$improved, many$change), curve(many$improved, many$after), method = "delong", paired = TRUE))
keep("roc-two", c(difference = unname(test$estimate[1] - test$estimate[2]), z = unname(test$statistic)))

# Thresholds of the first 5,000 shoulders: nothing there has them all, so they are put together of its curve and of glm. Standard deviations
# of replicates only, no limits corrected for bias; 0.9 and 0.8 are the reliability of score and answer.
thresholds <- function(d) {
  y <- d$improved; x <- d$change; n <- nrow(d)
  at <- function(rule) { k <- coords(r, "best", best.method = rule, ret = c("threshold", "sensitivity", "specificity"), transpose = FALSE)
    k$threshold[which.min((1 - k$sensitivity)^2 + (1 - k$specificity)^2)] }
  r <- curve(y, x); f <- coef(glm(y ~ x, binomial)); odds <- qlogis(mean(y)); p <- (odds - f[[1]]) / f[[2]]; cr <- cor(x, y)
  sem <- sd(d$before) * sqrt(1 - 0.9); q <- sqrt(2) * sem * qnorm(c(0.95, 0.975))
  c("mean change of the minimally improved" = mean(x[d$answer == 1]), "difference of mean changes" = mean(x[d$answer == 1]) - mean(x[d$answer == 0]),
    "cut point by Youden's index" = at("youden"), "cut point closest to the corner" = at("closest.topleft"), "predictive modelling" = p,
    "predictive modelling, adjusted for the proportion improved" = p - (0.090 + 0.103 * cr) * sd(x) * odds,
    "predictive modelling, adjusted for reliability" = p - (0.8 / 0.8 - 0.5) * sd(x) * cr * odds,
    "half a standard deviation" = sd(d$before) / 2, "a fifth of a standard deviation" = sd(d$before) / 5, "standard error of measurement" = sem,
    "smallest detectable change, 90%" = q[1], "smallest detectable change, 95%" = q[2], "smallest detectable change of the group, 90%" = q[1] / sqrt(n),
    "smallest detectable change of the group, 95%" = q[2] / sqrt(n), "effect size" = mean(x) / sd(d$before), "standardised response mean" = mean(x) / sd(x))
}
d <- head(many, 5000); keep("thresholds", thresholds(d)); set.seed(1)
draws <- time("thresholds", 1, function() replicate(2000, thresholds(d[sample.int(nrow(d), replace = TRUE), ])))
keep("thresholds", setNames(apply(draws, 1, sd), paste("spread of", rownames(draws))))
# Names have commas in them.
write.table(kept, file.path(folder, "theirs.csv"), sep = ",", row.names = FALSE, quote = 2)
