mod erasing;
mod flash;
mod power_cut;
