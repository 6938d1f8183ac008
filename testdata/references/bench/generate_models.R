#!/usr/bin/env Rscript
# A registry-like cohort with ten characteristics to time models on, fully simulated and seeded; nobody in it exists.
# usage: Rscript generate_models.R N SEED FILE
# columns: patient, days, cause (0 censored, 1 revised, 2 died), yes (0, 1), age, year, mass, and f1 to f7 with 2, 2, 2, 3, 3, 4, 4 levels from 0
a <- commandArgs(TRUE); N <- as.integer(as.numeric(a[1])); set.seed(as.integer(a[2]))
levels <- c(2, 2, 2, 3, 3, 4, 4); f <- lapply(levels, function(k) sample.int(k, N, TRUE) - 1L); names(f) <- paste0("f", 1:7)
npat <- N - as.integer(0.12 * N); patient <- c(seq_len(npat), sample.int(npat, N - npat))
age <- round(rnorm(N, 74, 8), 1); year <- 2005L + sample.int(15, N, TRUE) - 1L; mass <- round(rnorm(N, 28, 5), 1)
eta <- 0.02 * (age - 74) - 0.03 * (year - 2012) + Reduce(`+`, Map(function(x, k) 0.1 * (k %% 3) * x, f, seq_along(f)))
revised <- rexp(N, 1e-5 * exp(eta)); died <- rexp(N, 1e-4 * exp(0.08 * (age - 74))); end <- runif(N) * 5479
cause <- ifelse(revised <= pmin(died, end), 1L, ifelse(died <= end, 2L, 0L))
yes <- as.integer(runif(N) < plogis(-1 + eta))
write.csv(data.frame(patient, days = as.integer(pmin(revised, died, end)) + 1L, cause, yes, age, year, mass, f), a[3], row.names = FALSE, quote = FALSE)
