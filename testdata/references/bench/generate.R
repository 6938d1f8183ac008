#!/usr/bin/env Rscript
# A registry-like cohort to time programs on, fully simulated and seeded; nobody in it exists.
# usage: Rscript generate.R N SEED FILE
# columns: patient, hospital (1..400), indication (0, 1, 2), days (whole days of follow-up, 0..5479),
#   cause (0 censored, 1..5 reasons for revision, 6 death)
a <- commandArgs(TRUE); N <- as.integer(as.numeric(a[1])); set.seed(as.integer(a[2]))
END <- 5479L                                    # 15 years of accrual and follow-up
npat <- N - as.integer(0.12 * N)                # the last 12 % are second sides of earlier patients
pat <- c(seq_len(npat), sample.int(npat, N - npat))
age <- pmin(97, pmax(38, rnorm(npat, 73, 8.5)))[pat]; man <- (runif(npat) < 0.37)[pat]
ind <- sample(0:2, npat, TRUE, c(.45, .33, .22))[pat]
hospital <- sample.int(400, N, TRUE, exp(rnorm(400)))
index_day <- as.integer(floor(END * sqrt(runif(N))))   # growing volume
lp <- rnorm(400, 0, .25)[hospital] + .35 * man - .018 * (age - 73) + c(0, -.25, .45)[ind + 1]
t_rev <- 365.25 * (-log(runif(N)) / (0.012 * exp(lp)))^(1 / 0.7)
t_dth <- 365.25 * (-log(runif(N)) / (0.022 * exp(.085 * (age - 73) + .35 * man + .3 * (ind == 2))))^(1 / 1.25)
reason <- sample.int(5, N, TRUE, c(.27, .28, .20, .15, .10)); cens <- END - index_day + 0.5
cause <- ifelse(t_rev <= t_dth & t_rev <= cens, reason, ifelse(t_dth <= cens, 6L, 0L))
write.csv(data.frame(patient = pat, hospital, indication = ind, days = as.integer(floor(pmin(t_rev, t_dth, cens))), cause), a[3], row.names = FALSE, quote = FALSE)
