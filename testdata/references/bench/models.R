#!/usr/bin/env Rscript
# Times the reference library's models on a file of generate_models.R; prints "task cpu-seconds". The file is read before.
# Each task is run once: they are slow. usage: Rscript models.R FILE
suppressPackageStartupMessages({ library(survival); library(cmprsk) })
d <- read.csv(commandArgs(TRUE)[1]); for (k in paste0("f", 1:7)) d[[k]] <- factor(d[[k]]); d$rev <- as.integer(d$cause == 1)
time <- function(task, f) { gc(FALSE); s <- proc.time(); x <- f(); e <- proc.time() - s; cat(task, sprintf("%.3f", e[["user.self"]] + e[["sys.self"]]), "\n"); flush(stdout()); invisible(x) }
rhs <- ~ age + year + mass + f1 + f2 + f3 + f4 + f5 + f6 + f7
fit <- time("cox", function() coxph(update(rhs, Surv(days, rev) ~ .), d, x = TRUE))
time("proportionality", function() cox.zph(fit))
two <- d[1:2, ]; time("prediction", function() summary(survfit(fit, newdata = two), times = c(365, 1826, 3652), extend = TRUE)$surv)
time("logistic", function() glm(update(rhs, yes ~ .), binomial, d))
few <- d[seq_len(min(nrow(d), 100000)), ]; time("cox-clustered-100000", function() coxph(update(rhs, Surv(days, rev) ~ .), few, cluster = patient))
few <- d[seq_len(min(nrow(d), 20000)), ]; x <- model.matrix(~ age + year + mass + f1 + f2 + f4, few)[, -1]
time("fine-gray-20000", function() crr(few$days, few$cause, x))
