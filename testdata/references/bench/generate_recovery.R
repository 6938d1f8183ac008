#!/usr/bin/env Rscript
# Scores before and after an operation to time recovery on, fully simulated and seeded; nobody in them exists.
# usage: Rscript generate_recovery.R SHOULDERS SEED FOLDER
# scores.csv, one row for each score of three visits, one in ten missing: shoulder, visit (0, 1, 2), score, treated (0, 1), x1 to x8
# answers.csv, one row for each shoulder: before, after, answer (-1 worse, 0 the same, 1 a little better, 2 much better) about its change
a <- commandArgs(TRUE); N <- as.integer(as.numeric(a[1])); set.seed(as.integer(a[2])); folder <- a[3]
put <- function(d, file) write.csv(d, file.path(folder, file), row.names = FALSE, quote = FALSE)
x <- replicate(8, round(rnorm(N, 60, 10), 1)); colnames(x) <- paste0("x", 1:8); treated <- rbinom(N, 1, 0.5)
# spread and correlation change from visit to visit, so that no simpler covariance than an unstructured one is right
own <- rnorm(N, 0, 5); lasting <- rnorm(N, 0, 4)
score <- sapply(0:2, function(v) 50 + 8 * v + 2 * treated * v + 0.1 * x[, 1] - 0.2 * x[, 4] + own + (v > 0) * lasting + rnorm(N, 0, c(8, 6, 5)[v + 1]))
there <- which(runif(3 * N) > 0.1) - 1L; shoulder <- there %/% 3L; visit <- there %% 3L
put(data.frame(shoulder, visit, score = round(score[cbind(shoulder + 1L, visit + 1L)], 2), treated = treated[shoulder + 1L], x[shoulder + 1L, ]), "scores.csv")
# a patient asks some improvement of his own, 12 on average, and answers by how far the true one lies from it
ability <- rnorm(N, 45, 12); change <- rnorm(N, 14, 14); gap <- change - rnorm(N, 12, 4)
answer <- ifelse(gap > 12, 2L, ifelse(gap > 0, 1L, ifelse(change > -4, 0L, -1L)))
put(data.frame(before = round(ability + rnorm(N, 0, 4), 3), after = round(ability + change + rnorm(N, 0, 4), 3), answer), "answers.csv")
