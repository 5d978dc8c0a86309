# Reads the cases of `test_statistics cases` from standard input, computes each with R's own functions, and compares.
input <- file("stdin"); lines <- readLines(input); close(input)
lines <- lines[!startsWith(lines, "#")]
kinds <- character(0); wrong <- 0

strata_of <- function(v) {
  list <- list(); at <- 1
  while (at <= length(v)) {
    n <- v[at + 2]; pairs <- matrix(v[at + 2 + seq_len(2 * n)], nrow = 2)
    list[[length(list) + 1]] <- list(N = v[at], X = v[at + 1], n = n, x = pairs[1, ], y = pairs[2, ])
    at <- at + 3 + 2 * n
  }
  list
}

# total, standard error, degrees of freedom, lower limit
estimate <- function(strata, values, tail, scale = 1) {
  N <- sapply(strata, `[[`, "N"); n <- sapply(strata, `[[`, "n")
  total <- sum(N * sapply(values, mean)) / scale
  part <- N * (N - n) / n * sapply(values, var) / scale^2
  variance <- sum(part)
  freedom <- if (variance > 0) variance^2 / sum(part^2 / (n - 1)) else Inf
  c(total, sqrt(variance), freedom, total - qt(tail, freedom, lower.tail = FALSE) * sqrt(variance))
}

by <- list(
  rate_lower = function(v) if (v[1] == 0) 0 else qbeta(v[3], v[1], v[2] - v[1] + 1),
  rate_upper = function(v) if (v[1] == v[2]) 1 else qbeta(v[3], v[1] + 1, v[2] - v[1], lower.tail = FALSE),
  rate_size = function(v) {
    for (from in seq(1, 100001, by = 2000)) {
      n <- from:(from + 1999); k <- (n * v[3] + 999999) %/% 1000000
      fit <- which(pbinom(k, n, v[2] / 1e6) <= v[1] / 1e6)
      if (length(fit) > 0) return(n[fit[1]])
    }
  },
  finding_size = function(v) { n <- 1:v[1]; n[which(phyper(0, v[2], v[1] - v[2], n) <= v[3])[1]] },
  poisson_upper = function(v) qgamma(v[2], v[1] + 1, lower.tail = FALSE),
  factor = function(v) ceiling(qgamma(v[2], v[1] + 1, lower.tail = FALSE) * 100 - 1e-9),
  stringer = function(v) {
    taints <- sort(pmin(1, v[-(1:2)][v[-(1:2)] > 0]), decreasing = TRUE)
    f <- ceiling(qgamma(v[2], seq_len(length(taints) + 1), lower.tail = FALSE) * 100 - 1e-9) / 100
    v[1] * (f[1] + sum(diff(f) * taints))
  },
  difference = function(v) { s <- strata_of(v[-1]); estimate(s, lapply(s, function(h) h$x - h$y), v[1]) },
  mean = function(v) {
    s <- strata_of(v[-1]); e <- estimate(s, lapply(s, function(h) -h$y), v[1])
    e + c(1, 0, 0, 1) * sum(sapply(s, `[[`, "X"))
  },
  ratio = function(v) {
    s <- strata_of(v[-1]); w <- function(f) sum(sapply(s, function(h) h$N * mean(f(h))))
    r <- w(function(h) h$x - h$y) / w(function(h) h$x)
    e <- estimate(s, lapply(s, function(h) h$x - h$y - r * h$x), v[1])
    e + c(1, 0, 0, 1) * (r * sum(sapply(s, `[[`, "X")) - e[1])
  },
  rate = function(v) {
    s <- strata_of(v[-1])
    estimate(s, lapply(s, function(h) as.numeric(h$x != h$y)), v[1], sum(sapply(s, `[[`, "N")))
  },
  money = function(v) {
    h <- strata_of(v[-1])[[1]]; t <- 1 - h$y / h$x; se <- h$X * sqrt(h$n * var(t))
    freedom <- if (se > 0) h$n - 1 else Inf
    c(h$X * sum(t), se, freedom, h$X * sum(t) - qt(v[1], freedom, lower.tail = FALSE) * se)
  },
  neyman = function(v) {
    m <- matrix(v[-1], nrow = 3); N <- m[1, ]; s <- m[2, ]
    exact <- sum(N * s)^2 / (sum(N)^2 * v[1]^2 / 4 + sum(N * s^2))
    if (abs(exact - round(exact)) < 1e-9) exact <- round(exact)
    c(ceiling(exact), m[3, ] - pmin(N, pmax(1, floor(ceiling(exact) * N * s / sum(N * s) + .5))))
  })
results <- c(difference = 4, mean = 4, ratio = 4, rate = 4, money = 4)

for (line in lines) {
  words <- strsplit(line, " ")[[1]]; kind <- words[1]; v <- as.numeric(words[-1])
  count <- if (kind %in% names(results)) results[[kind]] else 1
  is <- v[seq_len(count)]; should <- by[[kind]](v[-seq_len(count)])
  if (kind == "neyman") is <- c(is, rep(0, length(should) - 1))
  same <- is == should | abs(is - should) <= 1e-8 * pmax(1, abs(should))
  kinds <- c(kinds, kind)
  if (!isTRUE(all(same))) {
    wrong <- wrong + 1
    if (wrong <= 10) cat(substr(line, 1, 120), "\n  R:", format(should, digits = 17), "\n")
  }
}
print(table(kinds))
cat(length(lines), "cases,", wrong, "differ\n")
quit(status = if (wrong > 0 || any(table(kinds) < 900) || length(table(kinds)) < length(by)) 1 else 0)
