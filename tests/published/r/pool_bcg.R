# Random-effects pooling of 13 trials by the R package metafor: the numbers that tests/published/test_pooling.py holds.
# Run once, R 4.2.2, metafor 3.8.1 (Debian 12: apt-get install r-base-core r-cran-metafor):
#   Rscript tests/published/r/pool_bcg.R > tests/published/r/pool_bcg.txt
# Data: metadat::dat.bcg (Colditz et al. 1994, JAMA 271:698-702): log relative risks, their variances, latitude.
# A line: a name and its numbers.
suppressMessages(library(metafor))
say <- function(name, ...) cat(name, formatC(c(...), digits = 12, format = "g", width = 1), "\n")
dat <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
tight <- list(threshold = 1e-12, maxiter = 1000)
pool <- function(method, test, ...) {
  rma(yi, vi, data = dat, method = method, test = test, control = if (method == "REML") tight else list(tol = 1e-12), ...)
}

say("estimates", dat$yi)
say("variances", dat$vi)
say("latitude", dat$ablat)
for (method in c("REML", "PM", "DL")) {
  for (test in c("z", "knha", "adhoc")) {  # adhoc: Hartung-Knapp's factor never below one
    m <- pool(method, test)
    say(paste(method, test, sep = "_"), m$tau2, c(m$b), m$se, m$ci.lb, m$ci.ub, m$pval, m$QE, m$I2)
  }
}
m <- pool("REML", "adhoc")
# The prediction interval with k - 2 degrees of freedom (Higgins, Thompson and Spiegelhalter 2009, JRSS A 172:137-159);
# this version's predict() takes k - 1, so it is written out.
say("prediction", c(m$b) + c(-1, 1) * qt(0.975, m$k - 2) * sqrt(m$tau2 + m$se^2))
say("prediction_k_minus_1", predict(m)$pi.lb, predict(m)$pi.ub)
ci <- confint(pool("REML", "z"), control = list(tol = 1e-12))
say("q_profile_tau2", ci$random["tau^2", c("ci.lb", "ci.ub")])
say("q_profile_i2", ci$random["I^2(%)", c("ci.lb", "ci.ub")])

for (test in c("z", "knha", "adhoc")) {
  r <- pool("REML", test, mods = ~ ablat)
  say(paste("latitude", test, sep = "_"), r$tau2, c(r$b), r$se, r$pval, r$ci.lb[2], r$ci.ub[2], r$QE)
}
l <- leave1out(m)
say("leave_one_out", l$estimate)
say("leave_one_out_low", l$ci.lb)
say("leave_one_out_high", l$ci.ub)

# Few sites that agree better than chance, where the factor's floor matters.
few <- rma(yi = c(0.042, 0.046, 0.049, 0.043), vi = c(0.010, 0.012, 0.009, 0.015)^2, method = "REML", test = "adhoc",
           control = tight)
say("few_adhoc", few$tau2, c(few$b), few$se, few$ci.lb, few$ci.ub)
say("few_knha_se", update(few, test = "knha")$se)
