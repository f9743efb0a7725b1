mod erasing;
mod flash;
mod many_cuts;
mod power_cut;
